"""Every address of the site, walked as every role and as nobody, against the table.

A new address needs a row in shop/access.py and nothing here, unless its arguments are of a new
kind: then an example in ARGUMENTS or EXAMPLES. The things named by the examples do not exist;
whoever is let through meets "no such page", and whoever is not is turned away before that.
"""

from collections.abc import Callable, Iterator
from datetime import date
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest, HttpResponse
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, path, reverse
from django.urls.converters import (
    IntConverter,
    PathConverter,
    SlugConverter,
    StringConverter,
    UUIDConverter,
)

from shop import access
from shop.access import ACCESS, MANAGER, PUBLIC, SIGNED_IN, ReadOrChange, allowed
from shop.context import nav
from shop.middleware import AccessMiddleware
from shop.models import Person, Role, Shop
from shop.templatetags.access import may, may_send
from shop.urls import IsoDate
from shop.urls import urlpatterns as real_urlpatterns

pytestmark = pytest.mark.django_db

NOBODY = "nobody"
METHODS = ("GET", "POST")
#: An example for each kind of argument.
ARGUMENTS: dict[type, Any] = {
    IntConverter: 1,
    StringConverter: "x-1",
    SlugConverter: "x-1",
    PathConverter: "x-1",
    UUIDConverter: "7a3f0d52-5f0a-4b58-9e33-0d7c1f0f8a11",
    IsoDate: date(2026, 3, 4),
}
#: Where an address takes only certain words: address, argument, example.
EXAMPLES: dict[str, dict[str, Any]] = {}


def patterns(
    under: URLResolver, namespace: str = "", converters: dict[str, Any] | None = None
) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the name of every address with the converters of its arguments."""
    here = {**(converters or {}), **under.pattern.converters}
    for entry in under.url_patterns:
        if isinstance(entry, URLResolver):
            below = f"{namespace}{entry.namespace}:" if entry.namespace else namespace
            yield from patterns(entry, below, here)
        else:
            assert isinstance(entry, URLPattern)
            yield f"{namespace}{entry.name}", {**here, **entry.pattern.converters}


ADDRESSES = dict(patterns(get_resolver()))


def example(name: str) -> str:
    """Return an address of a view, its arguments filled with examples."""
    given = EXAMPLES.get(name, {})
    kwargs = {
        argument: given.get(argument) or ARGUMENTS[type(converter)]
        for argument, converter in ADDRESSES[name].items()
    }
    return reverse(name, kwargs=kwargs)


def was_let_through(answer: HttpResponse) -> bool:
    """Say whether the view itself answered."""
    assert answer.status_code < 500
    if answer.status_code == 403:
        return False
    return urlsplit(answer.headers.get("Location", "")).path != "/sign-in/" or not urlsplit(
        answer.headers["Location"]
    ).query.startswith("next=")


def check(name: str, who: str, method: str, client: Client) -> None:
    """Assert that an address lets in exactly whom the table names."""
    row = allowed(name, method)
    assert row is not None, f"{name} has no row in shop/access.py"
    expected = row == PUBLIC if who == NOBODY else who in row
    answer = client.generic(method, example(name))
    assert was_let_through(answer) is expected, f"{method} {name} as {who}: {answer.status_code}"


@pytest.fixture
def client_of(client_as: Callable[..., Client]) -> Callable[[str], Client]:
    def make(who: str) -> Client:
        if who == NOBODY:
            return Client(raise_request_exception=False)
        return client_as(who, raise_request_exception=False)

    return make


@pytest.mark.parametrize("name", sorted(ADDRESSES))
def test_each_address_lets_in_whom_the_table_names(
    client_of: Callable[[str], Client], name: str
) -> None:
    for who in (NOBODY, *Role.values):
        for method in METHODS:
            check(name, who, method, client_of(who))


def test_every_address_has_its_row_and_every_row_its_address() -> None:
    assert unmatched(set(ADDRESSES)) == set()


def unmatched(names: set[str]) -> set[str]:
    """Addresses without a row, and rows without an address."""
    return names ^ set(ACCESS)


def test_twin_a_forgotten_row_or_a_row_of_no_address_is_found(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delitem(ACCESS, "shop:people")
    monkeypatch.setitem(ACCESS, "shop:nowhere", MANAGER)
    assert unmatched(set(ADDRESSES)) == {"shop:people", "shop:nowhere"}


def test_no_address_goes_without_a_name() -> None:
    assert [name for name in ADDRESSES if name.endswith("None")] == []


@pytest.mark.parametrize("who", [NOBODY, Role.TECHNICIAN])
def test_twin_with_the_check_taken_away_the_walk_fails(
    client_of: Callable[[str], Client], monkeypatch: pytest.MonkeyPatch, who: str
) -> None:
    monkeypatch.setattr(AccessMiddleware, "process_view", lambda *args: None)
    with pytest.raises(AssertionError, match="shop:people as"):
        check("shop:people", who, "GET", client_of(who))


@pytest.mark.parametrize(
    ("name", "method", "let_in"),
    [
        ("shop:sheets", "GET", {Role.MANAGER, Role.TECHNICIAN, Role.OWNER}),
        ("shop:answer", "POST", {Role.MANAGER, Role.TECHNICIAN}),
        ("shop:sign", "POST", {Role.MANAGER, Role.TECHNICIAN}),
        ("shop:draft_sheet", "POST", {Role.MANAGER}),
        ("shop:void_sheet", "POST", {Role.MANAGER}),
        ("shop:people", "GET", {Role.MANAGER}),
        ("shop:import", "POST", {Role.MANAGER}),
        ("inventory:parts", "GET", {Role.MANAGER, Role.TECHNICIAN, Role.OWNER}),
        ("inventory:buying", "GET", {Role.MANAGER, Role.OWNER}),
        ("inventory:adjust", "POST", {Role.MANAGER}),
    ],
)
def test_the_table_says_what_the_three_people_were_promised(
    name: str, method: str, let_in: set[str]
) -> None:
    """Written down a second time, by hand: the walk above only holds pages to the table."""
    assert allowed(name, method) == let_in


def forgotten(request: HttpRequest) -> HttpResponse:
    return HttpResponse("open to all")


class WithForgottenAddress:
    """The site, and one address that nobody gave a row."""

    urlpatterns = [path("forgotten/", forgotten, name="forgotten"), *real_urlpatterns]


def test_an_address_without_a_row_is_closed_even_to_a_manager(
    client_of: Callable[[str], Client], settings: Any
) -> None:
    settings.ROOT_URLCONF = WithForgottenAddress
    for who in (NOBODY, *Role.values):
        answer = client_of(who).get("/forgotten/")
        assert (answer.status_code, "open to all" in answer.text) == (403, False)


def test_a_page_may_be_read_by_more_people_than_may_change_it(
    client_of: Callable[[str], Client], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(ACCESS, "shop:people", ReadOrChange(read=SIGNED_IN, change=MANAGER))
    technician = client_of(Role.TECHNICIAN)
    assert technician.get("/people/").status_code == 200
    assert technician.post("/people/").status_code == 403
    assert client_of(Role.MANAGER).post("/people/").status_code == 405


def test_whoever_is_turned_away_reads_whose_page_it_is(
    client_of: Callable[[str], Client], technician: Person
) -> None:
    answer = client_of(Role.TECHNICIAN).get("/people/")
    assert "This is for managers." in answer.text
    assert f"You are signed in as {technician.name}, technician." in answer.text


def test_a_stranger_is_asked_to_sign_in_and_then_goes_on(shop: Shop) -> None:
    answer = Client().get("/people/?page=2")
    assert answer.headers["Location"] == "/sign-in/?next=%2Fpeople%2F%3Fpage%3D2"


def test_templates_ask_the_same_table(
    rf: Any, manager: Person, technician: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(ACCESS, "shop:settings", ReadOrChange(read=SIGNED_IN, change=MANAGER))
    request = rf.get("/")
    for person, asks, sends in (
        (manager, True, True),
        (technician, True, False),
        (AnonymousUser(), False, False),
    ):
        request.user = person
        assert may(request, "shop:settings") is asks
        assert may_send(request, "shop:settings") is sends
        assert may(request, "shop:nowhere") is False
        assert may(request, "shop:sign_in") is True


def test_the_bar_shows_only_what_may_be_opened(client_of: Callable[[str], Client]) -> None:
    manager = client_of(Role.MANAGER).get("/people/")
    labels = {link.label for link in manager.context["nav"]}
    assert "Shop" in labels
    technician = client_of(Role.TECHNICIAN).get("/people/")
    assert "Shop" not in {link.label for link in technician.context["nav"]}
    assert access.may(None, "shop:people") is False


@pytest.mark.parametrize(
    ("path", "lit"),
    [
        ("/", "Today"),
        ("/rigs/", "Rigs"),
        ("/shop/", "Shop"),
        ("/people/new/", "Shop"),
        ("/import/", "Shop"),
        ("/sign-out/", None),
    ],
)
def test_the_bar_lights_the_word_above_a_page(
    rf: Any, manager: Person, path: str, lit: str | None
) -> None:
    links = nav(rf.get(path), manager)
    assert [link.label for link in links if link.current] == ([lit] if lit else [])
