"""Everybody works in a language and in units of their own."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.utils import translation

from shop import spoken
from shop.access import ACCESS
from shop.models import Language, Person
from tests.inventory.pages.browsing import text_of

pytestmark = pytest.mark.django_db

ClientAs = Callable[..., Client]


def test_somebody_chooses_spanish_and_is_spoken_to_in_it(client_as: ClientAs, technician: Person):
    client = client_as(technician)
    assert "Language and units" in text_of(client.get("/my-language/"))
    answer = client.post("/my-language/", {"language": "es", "own_units": "metric"}, follow=True)
    technician.refresh_from_db()
    assert (technician.language, technician.own_units) == ("es", "metric")
    assert '<html lang="es"' in answer.text
    assert "Sus hojas hablan así desde ahora." in text_of(answer)


def test_a_page_that_is_not_translated_stays_english_whole(client_as: ClientAs, technician: Person):
    technician.language = Language.SPANISH
    technician.save()
    page = client_as(technician).get("/rigs/")
    assert '<html lang="en"' in page.text
    assert "Idioma y unidades" in text_of(page), "the way to one's own language is said in it"


def test_the_language_ends_with_its_answer(client_as: ClientAs, technician: Person):
    technician.language = Language.SPANISH
    technician.save()
    client_as(technician).get("/my-language/")
    assert translation.get_language() == "en"


@pytest.mark.parametrize(
    "typed", [{"language": "xx", "own_units": ""}, {"language": "", "own_units": "stone"}]
)
def test_a_language_that_nobody_offered_is_refused(
    client_as: ClientAs, technician: Person, typed: dict[str, str]
):
    answer = client_as(technician).post("/my-language/", typed)
    assert answer.status_code == 422
    technician.refresh_from_db()
    assert (technician.language, technician.own_units) == ("en", "")


def test_each_spoken_page_is_an_address():
    assert set(ACCESS) >= spoken.SPOKEN
