"""A safety text in Spanish is marked until somebody of the trade has read it beside the English."""

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.test import Client
from django.utils.translation import override

from equipment.models import Caution
from equipment.services.library import _load_cautions
from inventory import guards
from shop import spoken
from shop.isolation import steps
from shop.models import Language, Person, ServiceSheet, Shop, TextReading
from shop.services import safety_texts
from shop.services.paper import paper_of
from shop.services.safety_texts import (
    TextsRefused,
    all_texts,
    read_texts,
    record_readings,
    take_back,
)
from tests import wording
from tests.inventory.pages.browsing import text_of
from tests.shop.worlds import NOW, SheetWorld, sheet_world

pytestmark = pytest.mark.django_db

MARK = "Aún no revisado por una persona del oficio que hable español"
HEAT = (
    "Lock off heater power and let parts cool. Fluid, metal and oil stay hot enough to burn long"
    " after power is off."
)
LOCK = "Your own lock"
TODAY = NOW.date()


@pytest.fixture
def world(shop: Shop, manager: Person) -> SheetWorld:
    made = sheet_world(shop, manager)
    _load_cautions()
    # What this world asks for, in the library's words.
    Caution.objects.filter(code="SC04").update(hazard="Stored heat", text=HEAT)
    for version in (made.oil.version, made.rebuild.version):
        version.cautions.add(*Caution.objects.filter(code__in=["SC02", "SC04"]))
    return made


@pytest.fixture
def sheet(world: SheetWorld) -> ServiceSheet:
    return world.draft(world.rebuild)


def read(author: Person, *keys: str, **more: Any) -> int:
    said = {"reader": "R. Ibarra", "trade": "spray foam technician", "read_on": TODAY, **more}
    return record_readings(keys=keys, author=author, at=NOW, **said)


def key_of(english: str) -> str:
    return next(each.key for each in all_texts().all if each.texts[-1].english == english)


def lacks(*texts: str) -> bool:
    with override("es"):
        return read_texts().lacks(*texts)


# --- which texts ------------------------------------------------------------------------------


def test_every_text_that_isolation_can_say_is_there_to_be_read(shop: Shop) -> None:
    said = {
        str(each.text)
        for each in wording.said_in("shop")
        if each.file.startswith("shop/isolation/") and each.context is None
    }
    said = {text for text in said if re.search(r"\w", re.sub(r"\{\w+\}", "", text))}
    listed = {text.english for each in all_texts().steps for text in each.texts}
    assert listed == said


def test_every_caution_of_the_library_is_there_to_be_read(world: SheetWorld) -> None:
    listed = all_texts()
    ours = Caution.objects.exclude(pk__in=[each.pk for each in listed.own])
    assert len(listed.cautions) == ours.count() >= 28
    assert all(len(each.texts) == 2 for each in listed.cautions)
    assert listed.read == 0


def test_a_caution_that_the_shop_wrote_has_no_spanish(world: SheetWorld) -> None:
    Caution.objects.filter(code="SC04").update(text="Mind the heater, Joe burnt his hand.")
    assert "SC04" in {each.code for each in all_texts().own}
    with override("es"):
        assert spoken.is_left("Mind the heater, Joe burnt his hand.")
        assert not lacks("Mind the heater, Joe burnt his hand.")
    with override("en"):
        assert not spoken.is_left("Mind the heater, Joe burnt his hand.")


# --- the mark ---------------------------------------------------------------------------------


def test_the_mark_goes_when_hazard_and_text_are_read(world: SheetWorld, manager: Person) -> None:
    assert lacks("Stored heat", HEAT)
    assert read(manager, key_of(HEAT)) == 1
    assert not lacks("Stored heat", HEAT)
    assert lacks(LOCK)
    row = TextReading.objects.get(english=HEAT)
    assert (row.language, row.reader, row.recorded_by) == ("es", "R. Ibarra", manager)
    assert row.said.startswith("Corte la energía de los calentadores con candado")


def test_nothing_is_marked_in_english(world: SheetWorld) -> None:
    assert not read_texts().lacks("Stored heat", HEAT, LOCK)


@pytest.mark.parametrize("changed", ["english", "said"])
def test_a_text_that_changes_is_to_be_read_again(
    world: SheetWorld, manager: Person, monkeypatch: pytest.MonkeyPatch, changed: str
) -> None:
    read(manager, key_of(HEAT))
    real = safety_texts._safety_text

    def other(english: str) -> safety_texts.SafetyText:
        text = replace(real(english), **{changed: getattr(real(english), changed) + " Now."})
        digest = safety_texts.digest_of(language="es", english=text.english, said=text.said)
        return replace(text, digest=digest)

    monkeypatch.setattr(safety_texts, "_safety_text", other)
    assert lacks("Stored heat", HEAT)
    assert all_texts().read == 0


def test_a_step_with_names_is_read_when_each_of_its_texts_is(
    world: SheetWorld, manager: Person
) -> None:
    kept = steps.THIS_RIG.format(names="Shore power, Joe’s gate, Heated fluid A")
    for english in (steps.THIS_RIG, "Shore power"):
        read(manager, key_of(english))
        assert lacks(kept)
    read(manager, key_of("Heated fluid"))
    assert not lacks(kept)


def test_the_phone_shows_the_mark_and_the_english(
    client_as: Callable[..., Client], sheet: ServiceSheet, technician: Person, manager: Person
) -> None:
    technician.language = Language.SPANISH
    technician.save()
    page = client_as(technician).get(f"/sheets/{sheet.number}/work/")
    said = text_of(page)
    assert MARK in said
    assert "Corte la energía de los calentadores con candado" in said
    assert f'<p lang="en">Stored heat. {HEAT}</p>' in page.text
    marks = page.text.count(MARK)
    read(manager, key_of(HEAT))
    page = client_as(technician).get(f"/sheets/{sheet.number}/work/")
    assert page.text.count(MARK) == marks - 1
    assert HEAT not in page.text


def test_the_phone_marks_lockout_zero_and_the_way_back(
    client_as: Callable[..., Client], sheet: ServiceSheet, technician: Person
) -> None:
    technician.language = Language.SPANISH
    technician.save()
    page = client_as(technician).get(f"/sheets/{sheet.number}/work/").text
    for section in ("lockout", "zero", "return"):
        for step in sheet.steps.filter(section=section):
            assert f'<p lang="en">{step.title}' in page.replace("&#x27;", "'")
    english = client_as("manager").get(f"/sheets/{sheet.number}/work/").text
    assert 'class="unread"' not in english


def test_what_the_shop_wrote_is_shown_as_english(
    client_as: Callable[..., Client], world: SheetWorld, technician: Person
) -> None:
    Caution.objects.filter(code="SC04").update(text="Mind Joe’s heater.")
    technician.language = Language.SPANISH
    technician.save()
    number = world.draft(world.rebuild).number
    page = client_as(technician).get(f"/sheets/{number}/work/").text
    assert '<p lang="en">Mind Joe’s heater.</p>' in page


def test_the_paper_goes_by_the_same(sheet: ServiceSheet, manager: Person) -> None:
    def originals() -> set[str]:
        with override("es"):
            return {each.original for each in paper_of(sheet, today=TODAY, system="us").cautions}

    assert f"Stored heat. {HEAT}" in originals()
    read(manager, key_of(HEAT))
    assert f"Stored heat. {HEAT}" not in originals()


# --- the record -------------------------------------------------------------------------------


def test_sent_twice_it_counts_once(world: SheetWorld, manager: Person) -> None:
    keys = [key_of(HEAT), key_of(LOCK)]
    assert read(manager, *keys) == 2
    assert read(manager, *keys, reader="Somebody else") == 0
    assert set(TextReading.objects.values_list("reader", flat=True)) == {"R. Ibarra"}


def test_a_text_of_another_page_is_refused_whole(world: SheetWorld, manager: Person) -> None:
    with pytest.raises(TextsRefused, match="others by now"):
        read(manager, key_of(HEAT), "0" * 64)
    with pytest.raises(ValidationError):
        read(manager, key_of(HEAT), reader="x" * 61)
    with pytest.raises(ValidationError):
        read(manager, key_of(HEAT), trade=" ")
    assert not TextReading.objects.exists()


def test_taken_back_it_is_marked_again_and_can_be_read_anew(
    world: SheetWorld, manager: Person
) -> None:
    key = key_of(HEAT)
    read(manager, key)
    assert take_back(key=key, author=manager, at=NOW) == 2
    assert take_back(key=key, author=manager, at=NOW) == 0
    assert lacks(HEAT)
    assert read(manager, key, reader="A. Lugo") == 1
    assert not lacks(HEAT)
    assert TextReading.objects.filter(english=HEAT).count() == 2


def _row(manager: Person, **more: Any) -> TextReading:
    said = {"language": "es", "english": "a", "said": "b", "digest": "c", "reader": "R", **more}
    said = {"trade": "t", "read_on": TODAY, "recorded_by": manager, "recorded_at": NOW, **said}
    return TextReading(**said)


@pytest.mark.parametrize(
    ("name", "broken"),
    [
        ("a_safety_text_is_read_once", {}),
        ("a_text_reading_names_who_read", {"digest": "d", "reader": ""}),
        ("a_text_reading_names_who_read", {"digest": "d", "trade": ""}),
        ("a_text_reading_taken_back_says_who_and_when", {"digest": "d", "taken_back_at": NOW}),
    ],
)
def test_the_database_refuses_a_broken_row(
    manager: Person, name: str, broken: dict[str, Any]
) -> None:
    _row(manager).save()
    with pytest.raises(IntegrityError), transaction.atomic():
        _row(manager, **broken).save()
    constraint = next(each for each in TextReading._meta.constraints if each.name == name)
    with pytest.raises(ValidationError):
        constraint.validate(TextReading, _row(manager, **broken))


CHANGES = {
    "who read it": "UPDATE shop_textreading SET reader = 'Nobody'",
    "what was read": "UPDATE shop_textreading SET said = 'otra cosa'",
    "the row": "DELETE FROM shop_textreading",
}
TAKE_BACK = "UPDATE shop_textreading SET taken_back_by_id = recorded_by_id, taken_back_at = read_on"


def _sql(text: str) -> int:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(text)
        return cursor.rowcount


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_sql_cannot_change_a_reading(manager: Person, change: str) -> None:
    _row(manager).save()
    with pytest.raises(DatabaseError, match="only added to"):
        _sql(change)


def test_it_is_taken_back_once(manager: Person) -> None:
    _row(manager).save()
    assert _sql(TAKE_BACK) == 1
    with pytest.raises(DatabaseError, match="only added to"):
        _sql(TAKE_BACK)


def test_twin_without_the_guards_it_is_changed_and_gone(manager: Person) -> None:
    _row(manager).save()
    guards.lift_all(connection)
    try:
        assert [_sql(change) for change in (TAKE_BACK, TAKE_BACK, *CHANGES.values())] == [1] * 5
    finally:
        guards.install_all(connection)


# --- the page ---------------------------------------------------------------------------------


def test_a_manager_records_several_with_one_button(
    client_as: Callable[..., Client], world: SheetWorld
) -> None:
    client = client_as("manager")
    whole = len(all_texts().all)
    assert f"0 of {whole} safety texts are read" in text_of(client.get("/cautions/"))
    data = {"reader": "R. Ibarra", "trade": "spray foam technician", "read_on": str(TODAY)}
    answer = client.post("/cautions/", {**data, "texts": [key_of(HEAT), key_of(LOCK)]}, follow=True)
    assert f"2 of {whole} safety texts are read" in text_of(answer)
    assert "R. Ibarra, spray foam technician" in text_of(answer)
    answer = client.post("/cautions/", {"take_back": key_of(HEAT)}, follow=True)
    assert f"1 of {whole} safety texts are read" in text_of(answer)


def test_what_was_typed_stays_when_it_is_refused(
    client_as: Callable[..., Client], world: SheetWorld
) -> None:
    client = client_as("manager")
    answer = client.post(
        "/cautions/", {"reader": "", "trade": "t", "read_on": "2999-01-01", "texts": [key_of(HEAT)]}
    )
    assert answer.status_code == 422
    said = text_of(answer)
    assert "This is needed." in said
    assert "That day has not come yet." in said
    assert f'value="{key_of(HEAT)}" checked' in " ".join(answer.text.split())
    answer = client.post("/cautions/", {"reader": "R", "trade": "t", "read_on": str(TODAY)})
    assert "Tick what was read." in text_of(answer)
    answer = client.post("/cautions/", {"reader": "R", "trade": "t", "texts": ["gone"]})
    assert "others by now" in text_of(answer)
    assert not TextReading.objects.exists()


@pytest.mark.parametrize("role", ["technician", "owner"])
def test_only_a_manager_records_it(client_as: Callable[..., Client], role: str) -> None:
    assert client_as(role).get("/cautions/").status_code == 403
