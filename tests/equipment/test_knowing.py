"""What is known about a make or a service: kept once, replaced by name, never gone."""

from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, IntegrityError, connection, transaction

from equipment.models import ComponentType, Known, Service
from equipment.pdfs import read_pdf
from equipment.pictures import shrink
from equipment.services import knowing
from equipment.services.knowing import (
    TAKEN_OFF,
    NoPrintedPicture,
    ReplacedMeanwhile,
    TakenOff,
    former,
    is_pdf_stored,
    keep_known,
    known_about,
    print_on_sheets,
    store_pdf,
    take_off_known,
)
from equipment.services.photos import store_picture
from inventory import guards
from tests.equipment.factories import PersonFactory, SprayRig, day, service_for, spray_rig
from tests.equipment.papers import pdf_file
from tests.equipment.photographs import photo_file
from tests.races import all_meet_in, at_once, refused, without_row_locks

pytestmark = pytest.mark.django_db


@pytest.fixture
def spray(db: None) -> SprayRig:
    return spray_rig()


@pytest.fixture
def gun(spray: SprayRig) -> ComponentType:
    return spray.components["gun"].type


def note(about: ComponentType | Service, text: str = "Torque to 12", **more: Any) -> Known:
    return keep_known(
        **{
            "about": about,
            "kind": "note",
            "text": text,
            "author": PersonFactory(),
            "at": day(2),
            "request_id": uuid4(),
            **more,
        }
    )


def picture(about: ComponentType | Service, width: int = 300, **more: Any) -> Known:
    digest = store_picture(shrink(photo_file(size=(width, 200))))
    return note(about, "Exploded view", kind="picture", digest=digest, **more)


class TestKept:
    def test_with_author_moment_and_where_it_stands(self, gun: ComponentType) -> None:
        made = note(gun, " Torque to 12 ", document="Maker’s sheet 4", page="page 7")
        assert (made.text, made.where, made.about) == (
            "Torque to 12",
            "Maker’s sheet 4, page 7",
            gun,
        )
        assert (made.author.name, made.recorded_at) == ("S. Hand", day(2))

    def test_sent_twice_it_counts_once(self, gun: ComponentType) -> None:
        sent = uuid4()
        assert note(gun, request_id=sent) == note(gun, "something else", request_id=sent)
        assert Known.objects.count() == 1

    def test_twin_without_its_key_it_would_count_twice(self, gun: ComponentType) -> None:
        first = note(gun)
        with pytest.raises(IntegrityError), transaction.atomic():
            Known.objects.create(
                type=gun,
                kind="note",
                text="again",
                author=first.author,
                recorded_at=day(3),
                request_id=first.request_id,
            )

    def test_nothing_said_is_refused(self, gun: ComponentType) -> None:
        with pytest.raises(ValidationError):
            note(gun, "  ")

    def test_a_file_is_stored_once(self) -> None:
        pdf = read_pdf(pdf_file())
        assert store_pdf(pdf) == store_pdf(pdf) == pdf.digest
        assert is_pdf_stored(pdf.digest)
        assert not is_pdf_stored("../../secret-key")
        assert not is_pdf_stored("f" * 64)

    def test_all_of_several_things_in_one_query(
        self, spray: SprayRig, gun: ComponentType, django_assert_num_queries: Any
    ) -> None:
        rebuild = service_for(spray.components["gun"], ("gallons", 1000)).service
        pump = spray.pump("A").type
        for about in (gun, pump, rebuild):
            note(about)
            picture(about)
        with django_assert_num_queries(1):
            types, services = known_about([gun.pk, pump.pk], [rebuild.pk])
            authors = {
                row.author.name
                for each in (*types.values(), *services.values())
                for row in each.rows
            }
        assert authors == {"S. Hand"}
        assert set(types) == {gun.pk, pump.pk}
        assert [len(each.notes) + len(each.pictures) for each in types.values()] == [2, 2]
        assert len(services[rebuild.pk].rows) == 2


class TestReplaced:
    def test_the_newer_counts_and_the_older_stays_to_be_read(self, gun: ComponentType) -> None:
        first = note(gun, "Torque to 10")
        second = note(gun, "Torque to 12", replaces=first)
        third = note(gun, "Torque to 13", replaces=second)
        types, _ = known_about([gun.pk])
        assert types[gun.pk].notes == [third]
        assert former(gun) == {third.pk: [second, first]}

    def test_what_was_replaced_meanwhile_is_told(self, gun: ComponentType) -> None:
        first = note(gun)
        second = note(gun, "newer", replaces=first)
        with pytest.raises(ReplacedMeanwhile):
            note(gun, "newer too", replaces=first)
        with pytest.raises(ReplacedMeanwhile):
            take_off(first)
        assert known_about([gun.pk])[0][gun.pk].notes == [second]

    def test_taken_off_it_stays_to_be_read_with_the_reason(self, gun: ComponentType) -> None:
        first = note(gun)
        second = note(gun, "newer", replaces=first)
        take_off(second)
        assert known_about([gun.pk]) == ({}, {})
        assert former(gun) == {TAKEN_OFF: [second, first]}
        with pytest.raises(TakenOff):
            take_off(second)
        with pytest.raises(TakenOff):
            note(gun, "newest", replaces=second)


def take_off(known: Known) -> Known:
    return take_off_known(known=known, author=PersonFactory(), at=day(4), reason="of the old model")


def choose(known: Known, *, is_printed: bool = True) -> Known:
    return print_on_sheets(known=known, is_printed=is_printed, author=PersonFactory(), at=day(3))


class TestPrinted:
    def test_one_picture_of_a_type(self, gun: ComponentType) -> None:
        first, second = picture(gun, 300), picture(gun, 310)
        choose(first)
        choose(second)
        assert Known.objects.get(printed_since__isnull=False) == second
        choose(second, is_printed=False)
        assert not Known.objects.filter(printed_since__isnull=False).exists()

    def test_a_newer_picture_is_printed_in_its_stead(self, gun: ComponentType) -> None:
        first = picture(gun, 300)
        choose(first)
        second = picture(gun, 310, replaces=Known.objects.get())
        assert Known.objects.get(printed_since__isnull=False) == second

    def test_what_is_taken_off_is_printed_no_more(self, gun: ComponentType) -> None:
        first = picture(gun)
        choose(first)
        take_off(first)
        assert not Known.objects.filter(printed_since__isnull=False).exists()

    def test_only_a_picture_of_a_type(self, spray: SprayRig, gun: ComponentType) -> None:
        service = service_for(spray.components["gun"], ("gallons", 1000)).service
        for other in (note(gun), picture(service)):
            with pytest.raises(NoPrintedPicture):
                choose(other)


class TestGuards:
    @pytest.mark.parametrize(
        ("wrong", "name"),
        [
            ({"type": None}, "known_about_a_type_or_a_service"),
            ({"text": ""}, "what_is_known_is_said"),
            ({"digest": "0" * 64}, "a_picture_or_file_has_its_hash"),
            ({"kind": "file"}, "a_picture_or_file_has_its_hash"),
            ({"printed_since": day(3)}, "what_is_printed_is_a_picture_of_a_type"),
            ({"taken_off_at": day(3)}, "what_was_taken_off_says_who_and_why"),
        ],
    )
    def test_the_database_refuses(
        self, gun: ComponentType, wrong: dict[str, Any], name: str
    ) -> None:
        row = {
            "type": gun,
            "kind": "note",
            "text": "right",
            "author": PersonFactory(),
            "recorded_at": day(1),
        }
        with transaction.atomic():
            Known.objects.create(**row, request_id=uuid4())
        with pytest.raises(IntegrityError, match=name), transaction.atomic():
            Known.objects.create(**{**row, **wrong}, request_id=uuid4())

    def test_two_printed_pictures_of_a_type(self, gun: ComponentType) -> None:
        first, second = picture(gun, 300), picture(gun, 310)
        choose(first)
        with pytest.raises(IntegrityError), transaction.atomic():
            Known.objects.filter(pk=second.pk).update(
                printed_since=day(3), printed_by=second.author
            )

    @pytest.mark.parametrize("column", ["text", "digest", "document"])
    def test_it_is_only_added_to(self, gun: ComponentType, column: str) -> None:
        note(gun)
        with pytest.raises(DatabaseError, match="only added to"), transaction.atomic():
            Known.objects.update(**{column: "never said"})
        with pytest.raises(DatabaseError, match="only added to"), transaction.atomic():
            Known.objects.all().delete()

    def test_twin_without_the_guard_it_is_changed(self, gun: ComponentType) -> None:
        note(gun)
        guards.lift_all(connection)
        try:
            assert Known.objects.update(text="never said") == 1
        finally:
            guards.install_all(connection)

    def test_it_is_taken_off_once_and_its_twin(self, gun: ComponentType) -> None:
        take_off(note(gun))
        put_back = {"taken_off_at": None, "taken_off_by": None, "taken_off_because": None}
        with pytest.raises(DatabaseError, match="only added to"), transaction.atomic():
            Known.objects.update(**put_back)
        guards.lift_all(connection)
        try:
            assert Known.objects.update(**put_back) == 1
        finally:
            guards.install_all(connection)


class TestRaces:
    pytestmark = [pytest.mark.django_db(transaction=True)]

    def two_at_once(self, monkeypatch: pytest.MonkeyPatch | None = None) -> list[Any]:
        """Two people write a newer note at once; with the patch each past the look for another."""
        about = spray_rig().components["gun"].type
        first = note(about)
        author = first.author
        if monkeypatch is not None:
            all_meet_in(monkeypatch, Known, "clean_fields")
        return at_once(
            *[
                lambda text=text: note(about, text, replaces=first, author=author)
                for text in ("mine", "yours")
            ]
        )

    def test_of_two_newer_notes_one_is_told_to_read_the_other(self) -> None:
        assert refused(self.two_at_once(), ReplacedMeanwhile) == 1
        assert Known.objects.in_force().count() == 1

    @pytest.mark.postgresql
    def test_twin_without_the_lock_the_key_refuses_in_no_words(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        without_row_locks(monkeypatch)
        assert refused(self.two_at_once(monkeypatch), (IntegrityError, ValidationError)) == 1

    @pytest.mark.postgresql
    def test_twin_without_lock_and_look_both_are_in_force(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """The key on what is replaced is the last guard: without it one note has two newer."""
        without_row_locks(monkeypatch)
        monkeypatch.setattr(knowing, "_still_in_force", lambda known: known)
        monkeypatch.setattr(Known, "validate_constraints", lambda self: None)
        with connection.cursor() as cursor:
            cursor.execute(
                "ALTER TABLE equipment_known DROP CONSTRAINT equipment_known_replaces_id_key"
            )
        try:
            assert refused(self.two_at_once(), IntegrityError) == 0
            assert Known.objects.filter(replaces__isnull=False).count() == 2
        finally:
            guards.lift_all(connection)
            Known.objects.filter(replaces__isnull=False).delete()
            guards.install_all(connection)
            with connection.cursor() as cursor:
                cursor.execute(
                    "ALTER TABLE equipment_known ADD CONSTRAINT equipment_known_replaces_id_key "
                    "UNIQUE (replaces_id)"
                )
