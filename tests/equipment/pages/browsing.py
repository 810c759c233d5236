"""A page's own form sent back, and what a person reads on it."""

import re
from html import unescape
from html.parser import HTMLParser
from typing import Any

from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse


class Page:
    """One page with a form: look at it once, then send it, as often as a finger slips."""

    def __init__(self, client: Client, name: str, *args: Any) -> None:
        self.client = client
        self.url = reverse(name, args=args)
        self.shown = client.get(self.url)
        assert self.shown.status_code == 200, self.shown.status_code
        self.hidden = hidden_of(self.shown)

    def send(self, **typed: Any) -> HttpResponse:
        return self.client.post(self.url, {**self.hidden, **typed})


def hidden_of(shown: HttpResponse) -> dict[str, str]:
    """What the page sends along without being typed."""
    found = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', html_of(shown))
    return {name: unescape(value) for name, value in found if name != "csrfmiddlewaretoken"}


def html_of(shown: HttpResponse) -> str:
    return shown.content.decode()


def text_of(shown: HttpResponse) -> str:
    """What a person reads on a page, in one line."""
    without_tags = re.sub(r"<[^>]+>", " ", html_of(shown))
    return re.sub(r"\s+", " ", unescape(without_tags)).replace(" .", ".").replace(" ,", ",")


def said(answer: HttpResponse) -> str:
    """What the message says that waits for the next page."""
    return " ".join(str(message) for message in answer.wsgi_request._messages)


def keeps(shown: HttpResponse, name: str, value: str) -> bool:
    """Whether a refused form still shows what was typed in a box."""
    tags = re.findall(r"<input[^>]*>", html_of(shown))
    return any(f'name="{name}"' in tag and f'value="{value}"' in tag for tag in tags)


def queries_of(client: Client, url: str) -> int:
    """How many queries a page takes, once everything that is kept is warm."""
    client.get(url)
    with CaptureQueriesContext(connection) as seen:
        assert client.get(url).status_code == 200
    return len(seen)


class _Filled(HTMLParser):
    """The forms of a page, each with what a browser would send of it untouched."""

    def __init__(self) -> None:
        super().__init__()
        self.forms: list[dict[str, list[str]]] = []
        self.select = self.area = ""
        self.first_option: str | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        name = given.get("name", "")
        if tag == "form":
            self.forms.append({})
        elif tag == "input" and name:
            is_box = given.get("type") in ("checkbox", "radio")
            if not is_box or "checked" in given:
                self.put(name, given.get("value", "on" if is_box else ""))
        elif tag == "select":
            self.select, self.first_option = name, None
        elif tag == "option" and self.select:
            if self.first_option is None:
                self.first_option = given.get("value", "")
            if "selected" in given:
                self.put(self.select, given.get("value", ""))
                self.select = ""
        elif tag == "textarea":
            self.area = name
            self.put(name, "")

    def handle_data(self, data: str) -> None:
        if self.area:
            # A browser drops the line break behind the tag.
            self.forms[-1][self.area][-1] += data.removeprefix("\n")

    def handle_endtag(self, tag: str) -> None:
        if tag == "textarea":
            self.area = ""
        elif tag == "select" and self.select:
            self.put(self.select, self.first_option or "")
            self.select = ""

    def put(self, name: str, value: str) -> None:
        if self.forms:
            self.forms[-1].setdefault(name, []).append(value)


def filled(shown: HttpResponse, *, form: int = -1) -> dict[str, Any]:
    """What a browser sends of a form of a page when nothing is touched; the last, unless told."""
    parser = _Filled()
    parser.feed(html_of(shown))
    found = parser.forms[form]
    found.pop("csrfmiddlewaretoken", None)
    return dict(found)
