"""A page's own form sent back, and what a person reads on it."""

import re
from html import unescape
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
