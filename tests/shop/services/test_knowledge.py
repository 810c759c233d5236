"""What is known where work is done: of make and service, and what was written last time."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction

from equipment.models import Due, Known, Rig
from equipment.pictures import shrink
from equipment.services import CheckPlan
from equipment.services.knowing import keep_known, print_on_sheets, take_off_known
from equipment.services.photos import store_picture
from inventory import guards
from shop.models import LineNote, Person, ServiceSheet, SheetLine
from shop.paper.content import PaperPicture
from shop.services.knowledge import image_of, known_for, leave_note, pictures_for_paper
from shop.services.paper import paper_of
from shop.services.paper.keeping import paper_from_plain, paper_to_plain
from shop.services.refusals import SheetClosed, SheetRefused
from tests.equipment.factories import service_for
from tests.equipment.photographs import photo_file
from tests.shop.services.conftest import Hands
from tests.shop.worlds import NOW, TODAY, SheetWorld

pytestmark = pytest.mark.django_db


def line_of(sheet: ServiceSheet, title: str) -> SheetLine:
    return next(line for line in sheet.lines.order_by("order") if line.title == title)


def left(line: SheetLine, text: str, who: Person, **more: Any) -> LineNote:
    given = {"event_id": uuid4(), "author": who, "at": NOW, "recorded_at": NOW}
    return leave_note(line=line, text=text, **{**given, **more})


def know(world: SheetWorld, about: Any, text: str, kind: str = "note", **more: Any) -> Known:
    given = {"author": world.manager, "at": NOW, "request_id": uuid4()}
    return keep_known(about=about, kind=kind, text=text, **{**given, **more})


def picture(world: SheetWorld, about: Any, width: int, text: str = "Exploded view") -> Known:
    digest = store_picture(shrink(photo_file(size=(width, 200))))
    return know(world, about, text, "picture", digest=digest)


def for_line(line: SheetLine) -> Any:
    return known_for([line])[line.pk]


@pytest.fixture
def again(done: Hands, world: SheetWorld) -> ServiceSheet:
    """The next sheet of both services, after one with words on it was signed."""
    done.answer(done.check("Volts at rated load"), "na", note="no load bank here")
    left(line_of(done.sheet, "full rebuild"), "the long screw is on the left", done.who)
    done.sign()
    return world.draft()


class TestWrittenLastTime:
    def test_notes_for_the_next_one_and_words_at_checks(
        self, again: ServiceSheet, done: Hands
    ) -> None:
        rebuild = for_line(line_of(again, "full rebuild"))
        (row,) = rebuild.written
        assert (row.text, row.is_for_next, row.is_same) == (
            "the long screw is on the left",
            True,
            True,
        )
        assert (row.author, row.at, row.sheet) == (done.who.name, NOW, done.sheet.number)
        (row,) = for_line(line_of(again, "oil and filter")).written
        assert (row.about, row.text) == (
            "Volts at rated load",
            "not applicable: no load bank here",
        )

    def test_nothing_of_a_sheet_that_is_not_signed(self, done: Hands, world: SheetWorld) -> None:
        line = line_of(done.sheet, "full rebuild")
        left(line, "the long screw is on the left", done.who)
        assert for_line(line).written == []
        assert for_line(line).left.text == "the long screw is on the left"

    def test_the_same_work_on_another_component_is_told_as_such(
        self, again: ServiceSheet, world: SheetWorld
    ) -> None:
        line = line_of(again, "full rebuild")
        other = world.fleet.components["generator"]
        SheetLine.objects.filter(pk=line.pk).update(component=other)
        written = for_line(SheetLine.objects.get(pk=line.pk)).written
        assert [row.is_same for row in written] == [True, False]
        assert written[1].text == "the long screw is on the left"

    def test_what_was_keyed_in_from_paper_is_told_by_whose_hand_it_is(
        self, done: Hands, world: SheetWorld
    ) -> None:
        done.answer(
            done.check("Volts at rated load"),
            "na",
            note="no load bank here",
            author=world.manager,
            written_by=done.who,
        )
        done.sign()
        (row,) = for_line(line_of(world.draft(), "oil and filter")).written
        assert row.author == done.who.name

    def test_work_on_a_whole_rig_is_told_with_the_rig_on_another_rigs_sheet(
        self, again: ServiceSheet, done: Hands, world: SheetWorld
    ) -> None:
        SheetLine.objects.filter(sheet__in=(again, done.sheet)).update(component=None)
        other = Rig.objects.create(number=88, name="Second rig", created_at=NOW)
        line = line_of(again, "full rebuild")
        (row,) = for_line(line).written
        assert row.is_same
        ServiceSheet.objects.filter(pk=again.pk).update(rig=other)
        (row,) = for_line(SheetLine.objects.get(pk=line.pk)).written
        assert (row.is_same, row.component) == (False, str(done.sheet.rig))

    def test_a_note_waits_for_its_own_work_however_many_sheets_come_between(
        self, done: Hands, world: SheetWorld, technician: Person
    ) -> None:
        left(line_of(done.sheet, "full rebuild"), "the long screw is on the left", done.who)
        done.sign()
        gun = world.fleet.components["gun"]
        wipe = service_for(
            gun,
            ("gallons", 10),
            name="wipe",
            author=world.manager,
            checks=[CheckPlan(text="Wiped")],
        )
        for number in range(3):
            sheet = world.draft(Due.objects.get(version=wipe))
            hands = Hands(ServiceSheet.objects.get(pk=sheet.pk), technician)
            hands.open_the_checks()
            for step in hands.steps("check"):
                hands.answer(step, note=f"wiped {number}")
            hands.use()
            hands.sign()
        line = line_of(world.draft(world.rebuild), "full rebuild")
        assert [row.text for row in for_line(line).written] == [
            "the long screw is on the left",
            "wiped 2",
            "wiped 1",
        ]

    def test_few_queries_for_all_lines(
        self, again: ServiceSheet, world: SheetWorld, django_assert_num_queries: Any
    ) -> None:
        know(world, world.fleet.components["gun"].type, "Torque to 12")
        lines = list(again.lines.order_by("order"))
        for some in (lines, lines[:1]):
            with django_assert_num_queries(8):
                found = known_for(some)
                assert all(row.author for each in found.values() for row in each.written)
                assert all(row.author.name for each in found.values() for row in each.notes)


class TestKnown:
    def test_of_the_make_the_service_and_those_it_includes(self, world: SheetWorld) -> None:
        gun = world.fleet.components["gun"]
        seals = service_for(gun, ("gallons", 100), name="side seals", author=world.manager)
        world.rebuild.version.includes.add(seals.service)
        for about, text in ((gun.type, "make"), (world.rebuild.version.service, "service")):
            know(world, about, text)
        know(world, seals.service, "smaller")
        know(world, world.oil.version.service, "not of this")
        gone = know(world, gun.type, "gone")
        take_off_known(known=gone, author=world.manager, at=NOW, reason="old")
        line = line_of(world.draft(world.rebuild), "full rebuild")
        assert {row.text for row in for_line(line).notes} == {"make", "service", "smaller"}

    def test_the_printed_picture_comes_first(self, world: SheetWorld) -> None:
        gun = world.fleet.components["gun"].type
        printed = picture(world, gun, 300)
        picture(world, gun, 310)
        print_on_sheets(known=printed, is_printed=True, author=world.manager, at=NOW)
        line = line_of(world.draft(world.rebuild), "full rebuild")
        assert for_line(line).pictures[0] == printed

    def test_nothing_known_is_said_so(self, world: SheetWorld) -> None:
        made = for_line(line_of(world.draft(), "full rebuild"))
        assert not made
        assert (made.type_id, made.service_id) == (
            world.fleet.components["gun"].type_id,
            world.rebuild.version.service_id,
        )


class TestLeaving:
    def test_the_newest_counts_and_an_empty_one_takes_it_back(
        self, hands: Hands, technician: Person
    ) -> None:
        line = line_of(hands.sheet, "full rebuild")
        with pytest.raises(SheetRefused, match="Write what the next one should know"):
            left(line, " ", technician)
        left(line, "first", technician)
        left(line, "second", technician, at=NOW + timedelta(minutes=1))
        assert for_line(line).left.text == "second"
        left(line, "", technician, at=NOW + timedelta(minutes=2))
        assert for_line(line).left is None
        assert LineNote.objects.count() == 3

    def test_sent_twice_it_counts_once_and_its_twin(self, hands: Hands, technician: Person) -> None:
        line = line_of(hands.sheet, "full rebuild")
        sent = uuid4()
        assert left(line, "first", technician, event_id=sent) == left(
            line, "first", technician, event_id=sent
        )
        with pytest.raises(IntegrityError), transaction.atomic():
            LineNote.objects.create(
                line=line, text="again", event_id=sent, author=technician, at=NOW, recorded_at=NOW
            )

    def test_a_signed_sheet_takes_none(self, done: Hands) -> None:
        line = line_of(done.sheet, "full rebuild")
        done.sign()
        with pytest.raises(SheetClosed):
            left(line, "late", done.who)

    def test_too_long_is_refused_in_words(self, hands: Hands, technician: Person) -> None:
        with pytest.raises(SheetRefused, match="longer than 300"):
            left(line_of(hands.sheet, "full rebuild"), "x" * 301, technician)

    def test_it_is_only_added_to_and_its_twin(self, hands: Hands, technician: Person) -> None:
        left(line_of(hands.sheet, "full rebuild"), "first", technician)
        with pytest.raises(DatabaseError, match="only added to"), transaction.atomic():
            LineNote.objects.update(text="never said")
        guards.lift_all(connection)
        try:
            assert LineNote.objects.update(text="never said") == 1
        finally:
            guards.install_all(connection)


class TestPaper:
    def test_the_printed_picture_of_each_make_once(self, world: SheetWorld) -> None:
        gun = world.fleet.components["gun"].type
        first, second = picture(world, gun, 300), picture(world, gun, 310)
        sheet = world.draft()
        assert pictures_for_paper(sheet) == ()
        print_on_sheets(known=second, is_printed=True, author=world.manager, at=NOW)
        (made,) = pictures_for_paper(sheet)
        assert made == PaperPicture(
            caption="Spray gun of ours: Exploded view",
            image=image_of(second.digest),
            key=second.digest,
        )
        assert made.image.startswith(b"\xff\xd8")
        assert image_of(first.digest) != made.image
        assert image_of("../../secret-key") == image_of("f" * 64) == b""

    def test_a_kept_sheet_prints_its_own_picture_for_ever(self, world: SheetWorld) -> None:
        gun = world.fleet.components["gun"].type
        first = picture(world, gun, 300)
        print_on_sheets(known=first, is_printed=True, author=world.manager, at=NOW)
        paper = paper_of(world.draft(), today=TODAY, system="us")
        kept = paper_to_plain(paper)
        take_off_known(known=Known.objects.get(), author=world.manager, at=NOW, reason="old")
        assert paper_from_plain(kept, url="", printed="").pictures == paper.pictures
        assert paper.pictures[0].image
