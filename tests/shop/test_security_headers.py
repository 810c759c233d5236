"""The content security policy stands on every answer, those that went wrong included."""

from collections.abc import Callable

import pytest
from django.http import HttpResponse
from django.test import Client

from shop.models import Person
from shop.views import people

pytestmark = pytest.mark.django_db


def test_the_policy_stands_on_pages_and_on_every_kind_of_error(
    client_as: Callable[..., Client], manager: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = client_as(manager, raise_request_exception=False)

    def break_down(*_: object, **__: object) -> HttpResponse:
        raise RuntimeError("the page breaks")

    answers = [
        desk.get("/people/"),
        Client().get("/people/"),
        client_as("technician").get("/people/"),
        Client(enforce_csrf_checks=True).post("/sign-in/", {}),
        desk.get("/nowhere/"),
    ]
    monkeypatch.setattr(people, "render", break_down)
    answers.append(desk.get("/people/"))
    assert [answer.status_code for answer in answers] == [200, 302, 403, 403, 404, 500]
    for answer in answers:
        policy = answer.headers["Content-Security-Policy"]
        assert "default-src 'self'" in policy
        assert "unsafe" not in policy
