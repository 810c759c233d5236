"""An expired session in the middle of typing: nothing typed is lost, nothing is sent unasked."""

import re
from collections.abc import Callable
from html import unescape

import pytest
from django.core import signing
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from shop import signed_out
from shop.models import Person, Role, Shop
from tests.conftest import PASSWORD

pytestmark = pytest.mark.django_db

TYPED = {
    "name": "Foam & <Fibre>",
    "time_zone": "America/Denver",
    "currency": "€",
    "units": "metric",
    "warning_days": "21",
    "unread_days": "9",
    "off_ratio_percent": "12",
    "off_ratio_strokes": "25",
    "drum_error_gallons": "1",
}


def hidden(page: str, form_action: str) -> dict[str, list[str]]:
    """Return the hidden fields of the form with this action, but for the token."""
    opening = re.escape(f'<form method="post" action="{form_action}">')
    # The last one: the bar on top has a form for signing out, too.
    *_, form = re.findall(rf"{opening}(.*?)</form>", page, re.DOTALL)
    fields: dict[str, list[str]] = {}
    found = re.findall(r'<input type="hidden" name="([^"]*)" value="([^"]*)">', form)
    for name, value in found:
        if name != "csrfmiddlewaretoken":
            fields.setdefault(unescape(name), []).append(unescape(value))
    return fields


def signed_out_client(person: Person) -> Client:
    """A browser in which a person signed in, and whose session has since expired."""
    client = Client(enforce_csrf_checks=False)
    client.post("/sign-in/", {"username": person.sign_in, "password": PASSWORD})
    client.cookies.pop("sessionid")
    return client


def test_what_was_typed_goes_through_signing_in_and_is_sent_by_one_button(
    shop: Shop, manager: Person
) -> None:
    client = signed_out_client(manager)
    kept = client.post("/shop/?from=here", TYPED)
    assert kept.status_code == 403
    assert "What you typed is kept" in kept.text
    shop.refresh_from_db()
    assert shop.name == "Foam Works"

    carried = hidden(kept.text, "/sign-in/")
    wrong = client.post(
        "/sign-in/", {"username": "manager", "password": "x", "typed": carried["typed"][0]}
    )
    assert wrong.status_code == 422
    assert hidden(wrong.text, "/sign-in/")["typed"]

    back = client.post(
        "/sign-in/",
        {"username": "manager", "password": PASSWORD, "typed": carried["typed"][0]},
    )
    assert back.status_code == 200
    assert "Send what you typed" in back.text
    shop.refresh_from_db()
    assert shop.name == "Foam Works", "never sent by itself"

    fields = hidden(back.text, "/shop/?from=here")
    assert {name: values[0] for name, values in fields.items()} == TYPED
    sent = client.post("/shop/?from=here", fields)
    assert sent.status_code == 302
    shop.refresh_from_db()
    assert (shop.name, shop.unread_days) == ("Foam & <Fibre>", 9)


def test_fields_with_several_values_keep_them_all_and_files_are_asked_for_again(
    shop: Shop, manager: Person
) -> None:
    client = signed_out_client(manager)
    photo = SimpleUploadedFile("seal.jpg", b"jpeg")
    kept = client.post("/shop/", {"pick": ["3", "5"], "photo": photo})
    sealed = hidden(kept.text, "/sign-in/")["typed"][0]
    back = client.post("/sign-in/", {"username": "manager", "password": PASSWORD, "typed": sealed})
    assert hidden(back.text, "/shop/") == {"pick": ["3", "5"]}
    assert "choose it again" in back.text


@pytest.mark.parametrize("named_by", ["browser", "form"])
def test_it_is_offered_only_to_the_person_who_typed_it(
    shop: Shop, manager: Person, technician: Person, named_by: str
) -> None:
    client = signed_out_client(manager) if named_by == "browser" else Client()
    typed = TYPED if named_by == "browser" else TYPED | {"typed_by": str(manager.pk)}
    sealed = hidden(client.post("/shop/", typed).text, "/sign-in/")["typed"][0]
    answer = client.post(
        "/sign-in/", {"username": "technician", "password": PASSWORD, "typed": sealed}
    )
    assert "Send what you typed" not in answer.text
    assert "Foam &amp;" not in answer.text
    assert f"This was typed by {manager.name}" in answer.text

    handed_on = hidden(answer.text, "/sign-out/")
    sign_in_page = client.post("/sign-out/", handed_on)
    sealed = hidden(sign_in_page.text, "/sign-in/")["typed"][0]
    back = client.post("/sign-in/", {"username": "manager", "password": PASSWORD, "typed": sealed})
    assert "Send what you typed" in back.text


def test_a_form_that_names_another_author_is_not_taken_under_the_wrong_name(
    client_as: Callable[..., Client], shop: Shop, technician: Person
) -> None:
    client = client_as(Role.MANAGER)
    answer = client.post("/shop/", TYPED | {"typed_by": str(technician.pk)})
    assert answer.status_code == 409
    assert f"This was typed by {technician.name}" in answer.text
    shop.refresh_from_db()
    assert shop.name == "Foam Works"


def test_what_we_did_not_seal_is_not_opened(shop: Shop, manager: Person) -> None:
    sealed = signed_out.Typed("/shop/", (("name", "x"),), 0, ()).sealed()
    for forged in (sealed[:-2] + "xx", signing.dumps(["/shop/", [], 0, []], salt="another")):
        answer = Client().post(
            "/sign-in/", {"username": "manager", "password": PASSWORD, "typed": forged}
        )
        assert answer.headers["Location"] == "/"


def test_a_small_update_leaves_the_form_alone_and_says_what_to_do(shop: Shop) -> None:
    answer = Client().post("/shop/", TYPED, headers={"HX-Request": "true"})
    assert answer.status_code == 422
    assert answer.headers["HX-Retarget"] == "#messages"
    assert "What you typed is still here" in answer.text
    assert "<html" not in answer.text


def test_a_small_look_goes_to_the_sign_in_page_and_back_to_its_whole_page(shop: Shop) -> None:
    answer = Client().get(
        "/people/?part=1",
        headers={"HX-Request": "true", "HX-Current-URL": "http://testserver/people/?page=2"},
    )
    assert answer.headers["HX-Redirect"] == "/sign-in/?next=%2Fpeople%2F%3Fpage%3D2"


# --- a page older than the sign-in ------------------------------------------------------------


def old_page(person: Person) -> tuple[Client, str]:
    """A browser signed in anew, with a page still open whose token is from before."""
    client = Client(enforce_csrf_checks=True)
    client.get("/sign-in/")
    old_token = client.cookies["csrftoken"].value
    client.post(
        "/sign-in/",
        {"username": person.sign_in, "password": PASSWORD, "csrfmiddlewaretoken": old_token},
    )
    assert client.cookies["csrftoken"].value != old_token
    return client, old_token


def test_a_page_older_than_the_sign_in_gives_back_what_was_typed(
    shop: Shop, manager: Person
) -> None:
    client, token = old_page(manager)
    form = TYPED | {"csrfmiddlewaretoken": token}
    answer = client.post("/shop/", form, headers={"Origin": "http://testserver"})
    assert answer.status_code == 403
    fields = hidden(answer.text, "/shop/")
    assert fields["name"] == [TYPED["name"]]
    fresh = {"csrfmiddlewaretoken": client.cookies["csrftoken"].value}
    sent = client.post("/shop/", fields | fresh, headers={"Origin": "http://testserver"})
    assert sent.status_code == 302
    shop.refresh_from_db()
    assert shop.name == TYPED["name"]


@pytest.mark.parametrize("origin", ["https://elsewhere.example", "null", None])
def test_another_site_gets_nothing_of_the_kind(
    shop: Shop, manager: Person, origin: str | None
) -> None:
    client, _ = old_page(manager)
    headers = {"Origin": origin} if origin else {}
    answer = client.post("/shop/", TYPED, headers=headers)
    assert answer.status_code == 403
    assert "Send what you typed" not in answer.text
    assert TYPED["currency"] not in answer.text


def test_it_speaks_as_the_page_on_which_it_was_typed(shop: Shop, technician: Person) -> None:
    Person.objects.filter(pk=technician.pk).update(language="es")
    client = signed_out_client(technician)
    kept = client.post("/sheets/7/waiting/", {"missing": "una abrazadera"})
    assert "Lo que escribió se conserva" in kept.text
    assert "What you typed is kept" in client.post("/shop/", TYPED).text, "the office's, in English"
    sealed = hidden(kept.text, "/sign-in/")["typed"][0]
    back = client.post(
        "/sign-in/", {"username": "technician", "password": PASSWORD, "typed": sealed}
    )
    assert "Enviar lo que escribió" in back.text
    assert "qué falta" in back.text
