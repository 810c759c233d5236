"""A manager's second look: wanted, looked at by another, once."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError, connection, transaction

from equipment.models import Finding
from shop.models import Person, SecondLook, ServiceSheet
from shop.services import second_look
from shop.services.refusals import SheetRefused
from shop.services.second_look import LookedAlready, NotYours, look_again
from tests.races import all_meet_in, at_once, refused, without_row_locks
from tests.shop.factories import PersonFactory
from tests.shop.services.conftest import Hands, rows_of_every_table
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(hours=2)


def ask_for_it(world: SheetWorld) -> None:
    """The rebuild asks for a second look."""
    type(world.rebuild.version).objects.filter(pk=world.rebuild.version_id).update(second_look=True)


@pytest.fixture
def signed(done: Hands, world: SheetWorld) -> ServiceSheet:
    ask_for_it(world)
    return done.sign()


def look(sheet: ServiceSheet, author: Person, **more: Any) -> SecondLook:
    given = {"outcome": "passed", "at": LATER, "request_id": uuid4()}
    return look_again(sheet=sheet, author=author, **{**given, **more})


def test_a_sheet_whose_services_do_not_ask_is_not_marked(done: Hands) -> None:
    assert not done.sign().is_second_look_wanted


def test_a_service_left_undone_asks_for_nothing(done: Hands, world: SheetWorld) -> None:
    ask_for_it(world)
    done.answer(done.check("Side seal"), "cleared")
    assert not done.sign(leave_undone=True).is_second_look_wanted


def test_a_manager_passes_it_and_the_mark_goes(signed: ServiceSheet, world: SheetWorld) -> None:
    assert signed.is_second_look_wanted
    assert list(ServiceSheet.objects.to_look_at_again()) == [signed]
    row = look(signed, world.manager, text="torque seen")
    assert (row.author, row.at, row.finding) == (world.manager, LATER, None)
    assert not ServiceSheet.objects.to_look_at_again().exists()
    assert ServiceSheet.objects.get(pk=signed.pk).state == "signed"


def test_what_is_not_right_is_found_work_where_it_is(
    signed: ServiceSheet, world: SheetWorld
) -> None:
    line = signed.lines.get(version=world.rebuild.version)
    row = look(
        signed, world.manager, outcome="not_right", text="seal weeps", line=line, is_grave=True
    )
    found = Finding.objects.get()
    assert row.finding == found
    assert (found.text, found.component, found.is_grave) == ("seal weeps", line.component, True)
    assert (found.source_kind, found.source_number) == ("sheet", signed.number)


def test_a_wrong_figure_opens_no_work(signed: ServiceSheet, world: SheetWorld) -> None:
    row = look(signed, world.manager, outcome="not_right", text="volts misread", opens_work=False)
    assert row.finding is None
    assert not Finding.objects.exists()


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"outcome": "not_right"}, "Say what is not right"),
        ({"outcome": "perhaps"}, "Say whether it is right"),
        ({"text": "x" * 201}, "200"),
    ],
)
def test_what_cannot_be_is_refused_with_nothing_written(
    signed: ServiceSheet, world: SheetWorld, more: dict[str, Any], words: str
) -> None:
    before = rows_of_every_table()
    with pytest.raises(SheetRefused, match=words):
        look(signed, world.manager, **more)
    assert rows_of_every_table() == before


def test_nobody_looks_where_it_is_not_asked_for(done: Hands, world: SheetWorld) -> None:
    with pytest.raises(SheetRefused, match="No second look"):
        look(done.sign(), world.manager)


def test_who_signed_does_not_look_again(done: Hands, world: SheetWorld) -> None:
    ask_for_it(world)
    sheet = done.sign(author=world.manager)
    with pytest.raises(NotYours, match="another manager"):
        look(sheet, world.manager)
    look(sheet, PersonFactory(manager=True))


def test_a_technician_does_not_look_again(signed: ServiceSheet) -> None:
    with pytest.raises(NotYours, match="manager's"):
        look(signed, PersonFactory())


def test_twin_without_the_refusal_who_signed_passes_it(
    done: Hands, world: SheetWorld, monkeypatch: pytest.MonkeyPatch
) -> None:
    ask_for_it(world)
    sheet = done.sign(author=world.manager)
    monkeypatch.setattr(second_look, "refuse_own", lambda *_: None)
    assert look(sheet, world.manager).author_id == sheet.signed_by_id


def test_who_wrote_the_paper_did_the_work_and_who_keyed_it_in_may_look(
    signed: ServiceSheet, world: SheetWorld
) -> None:
    writer = PersonFactory(manager=True)
    ServiceSheet.objects.filter(pk=signed.pk).update(signed_by=world.manager, written_by=writer)
    with pytest.raises(NotYours):
        look(signed, writer)
    look(signed, world.manager)


def test_sent_twice_it_counts_once(signed: ServiceSheet, world: SheetWorld) -> None:
    key = uuid4()
    given = {"outcome": "not_right", "text": "seal weeps", "request_id": key}
    first = look(signed, world.manager, **given)
    assert look(signed, world.manager, **given) == first
    assert (SecondLook.objects.count(), Finding.objects.count()) == (1, 1)


def test_under_another_key_it_is_refused(signed: ServiceSheet, world: SheetWorld) -> None:
    """The twin of the last: it is the key by which the second sending is known."""
    look(signed, world.manager)
    with pytest.raises(LookedAlready, match="has looked at sheet"):
        look(signed, world.manager)


@pytest.mark.django_db(transaction=True)
def test_of_two_managers_at_once_one_looks(signed: ServiceSheet, world: SheetWorld) -> None:
    other = PersonFactory(manager=True)
    results = at_once(lambda: look(signed, world.manager), lambda: look(signed, other))
    assert refused(results, LookedAlready) == 1
    assert SecondLook.objects.count() == 1


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_twin_without_the_lock_the_second_breaks_on_the_key(
    signed: ServiceSheet, world: SheetWorld, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without the sheet's lock nobody is told in words; the unique key still stands."""
    other = PersonFactory(manager=True)
    without_row_locks(monkeypatch)
    all_meet_in(monkeypatch, second_look, "refuse_own")
    results = at_once(lambda: look(signed, world.manager), lambda: look(signed, other))
    assert sum(isinstance(each, IntegrityError) for each in results) == 1


def test_the_database_refuses_a_mark_on_an_open_sheet(hands: Hands) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        ServiceSheet.objects.filter(pk=hands.sheet.pk).update(is_second_look_wanted=True)


@pytest.mark.parametrize(
    "broken",
    [
        {"outcome": "not_right", "text": ""},
        {"outcome": "passed", "text": "", "with_finding": True},
    ],
)
def test_the_database_refuses_a_look_that_says_nothing(
    signed: ServiceSheet, world: SheetWorld, broken: dict[str, Any]
) -> None:
    finding = None
    if broken.pop("with_finding", False):
        finding = Finding.objects.create(
            rig=world.fleet.rig,
            text="x",
            opened_by=world.manager,
            opened_at=NOW,
            request_id=uuid4(),
        )
    with pytest.raises(IntegrityError), transaction.atomic():
        SecondLook.objects.create(
            sheet=signed,
            author=world.manager,
            at=NOW,
            request_id=uuid4(),
            finding=finding,
            **broken,
        )
    assert connection.is_usable()
