"""The round of a rig: walked in one sending, read afterwards, missed ones said."""

from collections.abc import Callable
from datetime import date
from uuid import uuid4

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from equipment.models import Finding, Reading, Round, RoundAnswer, RoundItem
from equipment.services import NewAnswer, book_job, record_round
from shop.models import Person
from tests.equipment.factories import ZONE, SprayRig, day
from tests.equipment.pages.browsing import Page, hidden_of, queries_of, said, text_of

pytestmark = pytest.mark.django_db

URL = reverse("equipment:round", args=[4])


@pytest.fixture
def items(spray: SprayRig) -> dict[str, RoundItem]:
    kinds = {"oil": "generator", "seal": "gun", "pumps": "pump A"}
    return {
        name: RoundItem.objects.create(
            code=f"R{number}",
            kind=spray.components[component].type.kind,
            text=f"Look at the {name}",
            sign="dark or milky" if name == "oil" else "",
            every=RoundItem.Every.WEEK if name == "seal" else RoundItem.Every.DAY,
        )
        for number, (name, component) in enumerate(kinds.items())
    }


def answered(items: dict[str, RoundItem], **answers: str) -> dict[str, str]:
    return {f"i{items[name].pk}-answer": answer for name, answer in answers.items()}


ALL_RIGHT = {"oil": "right", "seal": "right", "pumps": "right"}


def test_the_checks_stand_in_the_order_along_the_rig(
    phone: Client, items: dict[str, RoundItem]
) -> None:
    read = text_of(phone.get(URL))
    places = [read.index(f"Look at the {name}") for name in ("oil", "pumps", "seal")]
    assert places == sorted(places)
    assert "dark or milky" in read


def test_one_sending_keeps_the_round_and_counts_once(
    phone: Client, items: dict[str, RoundItem]
) -> None:
    page = Page(phone, "equipment:round", 4)
    for _ in range(2):
        answer = page.send(**answered(items, oil="right", seal="na", pumps="right"))
        assert answer.status_code == 302
        assert said(answer).endswith("The round is kept: 2 in order.")
    made = Round.objects.get()
    assert (made.day, made.author.name) == (date(2026, 1, 8), "A. Technician")
    assert made.answers.get(item=items["seal"]).answer == RoundAnswer.Answer.NOT_APPLICABLE
    assert "Today’s round is done" in text_of(phone.get(URL))


def test_what_is_not_right_becomes_found_work(
    phone: Client, items: dict[str, RoundItem], spray: SprayRig
) -> None:
    page = Page(phone, "equipment:round", 4)
    sent = answered(items, **ALL_RIGHT | {"oil": "wrong"})
    note, grave = f"i{items['oil'].pk}-note", f"i{items['oil'].pk}-is_grave"
    answer = page.send(**sent, **{note: "milky", grave: "on"})
    assert said(answer) == "The round is kept: 2 in order, 1 not right, now found work."
    finding = Finding.objects.get()
    assert (finding.component, finding.is_grave) == (spray.components["generator"], True)
    assert "milky" in finding.text


def test_an_open_check_and_a_missing_word_are_said_beside_them(
    phone: Client, items: dict[str, RoundItem]
) -> None:
    page = Page(phone, "equipment:round", 4)
    answer = page.send(rest="", **answered(items, oil="wrong", pumps="right"))
    assert answer.status_code == 422
    read = text_of(answer)
    assert "2 checks are still open. Nothing is kept yet." in read
    assert "Say what is not right." in read
    assert "Answer this check, or say that it does not apply." in read
    assert f'name="i{items["pumps"].pk}-answer" value="right"' in answer.content.decode()
    assert answer.content.decode().count("checked") == 2
    assert not Round.objects.exists()


def test_what_nobody_tapped_is_in_order(phone: Client, items: dict[str, RoundItem]) -> None:
    page = Page(phone, "equipment:round", 4)
    answer = page.send(**answered(items, seal="na"))
    assert said(answer) == "The round is kept: 2 in order."
    assert Round.objects.get().answers.get(item=items["oil"]).answer == RoundAnswer.Answer.RIGHT


def test_what_the_faces_show_is_kept_with_the_round_and_once(
    phone: Client, items: dict[str, RoundItem], spray: SprayRig
) -> None:
    hours, before = spray.counters["hours"], Reading.objects.count()
    hours.refresh_from_db()
    page, shows = Page(phone, "equipment:round", 4), f"{hours.last_value + 2}"
    for _ in range(2):
        answer = page.send(**{f"c{hours.pk}-value": shows})
        assert "1 reading kept." in said(answer)
    assert Reading.objects.count() == before + 1
    assert Round.objects.count() == 1


def test_a_face_that_is_refused_keeps_the_round_back(
    phone: Client, items: dict[str, RoundItem], spray: SprayRig
) -> None:
    hours, before = spray.counters["hours"], Reading.objects.count()
    page = Page(phone, "equipment:round", 4)
    note = f"i{items['oil'].pk}-note"
    answer = page.send(**answered(items, oil="wrong"), **{note: "milky", f"c{hours.pk}-value": "0"})
    assert answer.status_code == 422
    assert "Was the counter reset" in text_of(answer)
    assert "milky" in answer.content.decode()
    assert Reading.objects.count() == before
    assert not Round.objects.exists()
    assert not Finding.objects.exists()


def test_a_second_round_of_the_day_hears_of_the_first(
    phone: Client, desk: Client, items: dict[str, RoundItem]
) -> None:
    late = Page(desk, "equipment:round", 4)
    Page(phone, "equipment:round", 4).send(**answered(items, **ALL_RIGHT))
    answer = late.send(**answered(items, **ALL_RIGHT))
    assert answer.status_code == 422
    assert "recorded already, by A. Technician." in text_of(answer)


def test_a_page_opened_before_midnight_counts_for_its_day(
    phone: Client, items: dict[str, RoundItem]
) -> None:
    page = Page(phone, "equipment:round", 4)
    with time_machine.travel(day(3, hour=19), tick=False):  # 01:00 on the 9th in Chicago
        assert page.send(**answered(items, **ALL_RIGHT)).status_code == 302
    assert Round.objects.get().day == date(2026, 1, 8)


@pytest.mark.parametrize("other", ["2026-01-01", "2026-01-20", "nonsense"])
def test_no_other_day_is_taken(phone: Client, items: dict[str, RoundItem], other: str) -> None:
    page = Page(phone, "equipment:round", 4)
    answer = page.send(**answered(items, **ALL_RIGHT), day=other)
    assert answer.status_code == 422
    assert not Round.objects.exists()


def test_yesterday_missed_is_said_and_a_quiet_day_is_not_blamed(
    phone: Client, items: dict[str, RoundItem], spray: SprayRig
) -> None:
    assert "No round was recorded yesterday; the rig was not booked." in text_of(phone.get(URL))
    book_job(
        rig=spray.rig,
        job="Barn",
        first_day=date(2026, 1, 7),
        last_day=date(2026, 1, 7),
        author=spray.author,
        today=date(2026, 1, 7),
        zone=ZONE,
    )
    read = text_of(phone.get(URL))
    assert "Yesterday’s round was missed: the rig was at a job." in read
    assert "Tue 6 Jan: no round, not booked" in read


def test_an_earlier_round_can_be_read(
    owner_client: Client, items: dict[str, RoundItem], spray: SprayRig
) -> None:
    record_round(
        rig=spray.rig,
        day=date(2026, 1, 7),
        answers=[
            NewAnswer(items["oil"], "wrong", "level low"),
            NewAnswer(items["pumps"], "right"),
            NewAnswer(items["seal"], "right"),
        ],
        author=spray.author,
        at=day(2),
        request_id=uuid4(),
    )
    assert "2 in order, 1 not right" in text_of(owner_client.get(URL))
    read = text_of(owner_client.get(f"{URL}?day=2026-01-07"))
    assert "level low" in read
    assert "S. Hand" in read
    assert owner_client.get(f"{URL}?day=2026-01-06").status_code == 404
    assert owner_client.get(f"{URL}?day=13th").status_code == 404
    assert owner_client.get(f"{URL}?day=2026-13-45").status_code == 404


def test_an_owner_looks_and_does_not_send(
    owner_client: Client, items: dict[str, RoundItem]
) -> None:
    shown = owner_client.get(URL)
    assert "Today’s round is not recorded yet." in text_of(shown)
    assert owner_client.post(URL, hidden_of(shown)).status_code == 403


def test_as_many_queries_with_thirty_checks_as_with_three(
    phone: Client, items: dict[str, RoundItem], spray: SprayRig
) -> None:
    few = queries_of(phone, URL)
    for number in range(27):
        RoundItem.objects.create(
            code=f"X{number}",
            kind=spray.components["gun"].type.kind,
            text=f"Extra {number}",
            every=RoundItem.Every.DAY,
        )
    assert queries_of(phone, URL) == few


def test_the_round_is_asked_in_the_language_of_who_walks_it(
    client_as: Callable[..., Client], technician: Person, items: dict[str, RoundItem]
) -> None:
    technician.language = "es"
    technician.save()
    page = text_of(client_as(technician).get(URL))
    for text in ("Ronda", "Lo demás está en orden", "En orden", "Qué marcan los contadores"):
        assert text in page, text
    assert "The rest is in order" not in page
