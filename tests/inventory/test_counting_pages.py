"""The pages of counts, walked as those who count and those who approve."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.utils import timezone

from inventory.models import Balance, Count, Movement, RobbedKit
from inventory.services import IssueLine, issue, prove
from tests.inventory.factories import BinFactory, PartFactory, kit_of, received, who_and_when

pytestmark = pytest.mark.django_db


def sent(**fields: object) -> dict[str, object]:
    """What a button sends, from a page drawn now."""
    return {"request_id": uuid4(), "drawn_at": timezone.now().isoformat(), **fields}


def begun(client: Client, place: object, kind: str = "cycle") -> Count:
    answer = client.post("/counts/", sent(location=place.pk, kind=kind))  # type: ignore[attr-defined]
    assert answer.status_code == 302, answer.content.decode()
    return Count.objects.latest("pk")


def test_a_count_goes_from_blind_entry_to_approval(client_as: Callable[..., Client]) -> None:
    part, place = PartFactory(number="P-1"), BinFactory(code="K-03")
    received(part, place, 73, 7_300)
    crew, boss = client_as("technician"), client_as("manager")
    count = begun(crew, place)
    url = f"/counts/{count.number}/"
    page = crew.get(url).content.decode()
    assert "P-1" in page
    assert "73" not in page.split("<main")[1].split("csrf")[0]  # blind
    for quantity in ("-1", "1.5", "x"):
        answer = crew.post(url, sent(number="P-1", quantity=quantity, do="enter"))
        assert answer.status_code == 422
        assert 'class="field wrong"' in answer.content.decode()
        assert f'value="{quantity}"' in answer.content.decode()
    assert (
        "There is no part Q-9"
        in crew.post(url, sent(number="Q-9", quantity="1", do="enter")).content.decode()
    )
    assert not count.lines.exists()
    assert crew.post(url, {"do": "finish"}).status_code == 422
    many = sent(number="P-1", quantity="999", do="enter")
    assert "is that right?" in crew.post(url, many).content.decode()
    assert crew.post(url, {**many, "quantity": "70"}).status_code == 302
    assert crew.post(url, {"do": "finish"}).status_code == 302
    assert crew.post(f"{url}settle/", {"do": "approve"}).status_code == 403
    page = boss.get(url).content.decode()
    assert "−3 pieces" in page
    seen = Count.objects.get().counted_at.isoformat()  # type: ignore[union-attr]
    assert boss.post(f"{url}settle/", {"do": "approve", "seen": "x"}).status_code == 422
    assert boss.post(f"{url}settle/", {"do": "approve", "seen": seen}).status_code == 302
    assert Balance.objects.get().quantity_steps == 70
    assert prove() == []


def test_another_persons_count_is_told_beside_the_place(client_as: Callable[..., Client]) -> None:
    place = BinFactory(code="K-03")
    begun(client_as("technician"), place)
    answer = client_as("manager").post("/counts/", sent(location=place.pk, kind="cycle"))
    assert answer.status_code == 422
    assert "is counting K-03 already" in answer.content.decode()


def test_a_drawer_is_checked_on_one_page_and_a_robbed_kit_found(
    client_as: Callable[..., Client],
) -> None:
    kit, (seal, _) = kit_of(seal=2, spring=1)
    drawer = BinFactory(drawer=True)
    loose = PartFactory()
    received(kit, drawer, 2, 1_000)
    received(loose, drawer, 5, 500)
    client = client_as("technician")
    check = begun(client, drawer, "drawer")
    url = f"/counts/{check.number}/"
    assert "Something is missing from" in client.get(url).content.decode()
    robbed = sent(do="robbed", kit=kit.pk, missing=[seal.pk])
    assert client.post(url, robbed).status_code == 302
    assert client.post(url, robbed).status_code == 302
    assert RobbedKit.objects.get().kit == kit
    assert client.post(url, sent(do=f"set {loose.pk} 4")).status_code == 302
    assert client.post(url, sent(do=f"set {loose.pk} -4")).status_code == 422
    assert client.post(url, {"do": "rest"}).status_code == 302
    assert client.post(url, {"do": "finish"}).status_code == 302
    counted = dict(check.lines.values_list("part", "counted_steps"))
    assert counted == {kit.pk: 1, loose.pk: 4}
    assert prove() == []


def li_of(page: str, anchor: str) -> str:
    """The row of a page with this id."""
    return page.split(f'<li id="{anchor}"')[1].split("</li>")[0]


def test_what_a_button_was_refused_stands_beside_its_row(client_as: Callable[..., Client]) -> None:
    kit, _ = kit_of(seal=2, spring=1)
    loose, drawer = PartFactory(), BinFactory(drawer=True)
    received(kit, drawer, 2, 1_000)
    received(loose, drawer, 5, 500)
    client = client_as("technician")
    url = f"/counts/{begun(client, drawer, 'drawer').number}/"
    for bad, row, other in (
        (sent(do=f"set {loose.pk} x"), loose, kit),
        (sent(do="robbed", kit=kit.pk), kit, loose),
        ({"do": f"set {kit.pk} 1", "request_id": uuid4()}, kit, loose),
    ):
        answer = client.post(url, bad)
        page = answer.content.decode()
        assert answer.status_code == 422
        assert page.count("form-errors") == 1
        assert "form-errors" in li_of(page, f"row-{row.pk}")
        assert "form-errors" not in li_of(page, f"row-{other.pk}")
    assert not Count.objects.get().lines.exists()


def test_a_figure_sent_again_late_is_asked_about_beside_its_box(
    client_as: Callable[..., Client], time_machine: Any
) -> None:
    time_machine.move_to("2026-03-02 15:00:00+00:00", tick=False)
    part, place = PartFactory(number="P-1"), BinFactory()
    received(part, place, 9, 900)
    client = client_as("technician")
    count = begun(client, place)
    url = f"/counts/{count.number}/"
    late = sent(number="P-1", quantity="3", do="enter")
    time_machine.move_to("2026-03-02 15:01:00+00:00", tick=False)
    assert client.post(url, late).status_code == 302
    time_machine.move_to("2026-03-02 15:02:00+00:00", tick=False)
    newer = sent(number="P-1", quantity="5", do="enter")
    assert client.post(url, newer).status_code == 302
    answer = client.post(url, late)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "entered 5 pieces of P-1" in page.split('id="id_quantity_error"')[1].split("</ul>")[0]
    assert 'value="3"' in page  # what was typed stays
    assert str(late["request_id"]) not in page  # and is another entry, sent once more
    assert count.lines.get().counted_steps == 5
    again = {**late, "request_id": uuid4(), "drawn_at": timezone.now().isoformat()}
    assert client.post(url, again).status_code == 302
    assert count.lines.get().counted_steps == 3


def test_a_refused_approval_stands_beside_the_part_it_is_about(
    client_as: Callable[..., Client],
) -> None:
    part, other, place = PartFactory(number="P-1"), PartFactory(number="P-2"), BinFactory()
    received(part, place, 5, 500)
    received(other, place, 5, 500)
    crew, boss = client_as("technician"), client_as("manager")
    count = begun(crew, place)
    url = f"/counts/{count.number}/"
    for number in ("P-1", "P-2"):
        crew.post(url, sent(number=number, quantity="1", do="enter"))
    crew.post(url, {"do": "finish"})
    issue(lines=[IssueLine(other, place, 3)], **who_and_when())
    seen = Count.objects.get().counted_at.isoformat()  # type: ignore[union-attr]
    answer = boss.post(f"{url}settle/", {"do": "approve", "seen": seen, "line": [part.pk]})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert page.count("form-errors") == 1
    assert "form-errors" in page.split(">P-2<")[1].split("</li>")[0]
    assert " checked" in page.split(">P-1<")[1].split("</li>")[0]  # what was ticked stays
    assert boss.post(f"{url}settle/", {"do": "recount"}).status_code == 422
    assert Movement.objects.filter(kind="count").count() == 0
    again = {"do": "recount", "line": [part.pk, other.pk]}
    assert boss.post(f"{url}settle/", again).status_code == 302
    assert "Count again: P-1, P-2." in crew.get(url).content.decode()


def test_a_count_asks_for_one_part_after_the_other(client_as: Callable[..., Client]) -> None:
    """The number stands there already: a gloved hand types the figure and sends it."""
    place = BinFactory()
    for number in ("P-1", "P-2", "P-3"):
        received(PartFactory(number=number), place, 7, 700)
    client = client_as("technician")
    url = f"/counts/{begun(client, place).number}/"
    for number in ("P-1", "P-2", "P-3"):
        page = client.get(url).content.decode()
        assert f'name="number" value="{number}"' in page
        assert client.post(url, sent(number=number, quantity="7", do="enter")).status_code == 302
    assert 'name="number" value="P-3"' in client.get(f"{url}?part=P-3").content.decode()
    assert client.post(url, {"do": "finish"}).status_code == 302


def test_what_comes_after_the_end_is_told_on_the_page_as_it_is_now(
    client_as: Callable[..., Client],
) -> None:
    """Somebody else finished meanwhile: the button's row is gone, and the words are not."""
    part, drawer = PartFactory(number="P-1"), BinFactory(drawer=True)
    received(part, drawer, 5, 500)
    received(PartFactory(), drawer, 5, 500)
    client = client_as("technician")
    url = f"/counts/{begun(client, drawer, 'drawer').number}/"
    for do in (f"set {part.pk} 4", "rest", "finish"):
        assert client.post(url, sent(do=do)).status_code == 302
    for late in (
        sent(number="P-1", quantity="2", do="enter"),
        sent(do=f"set {part.pk} 2"),
        sent(do="rest"),
        sent(do="drop"),
    ):
        answer = client.post(url, late)
        assert answer.status_code == 422
        page = answer.content.decode()
        assert page.count("is finished and waits for approval") == 1
    assert Count.objects.get().state == "counted"


def test_a_drawer_in_which_all_is_there_takes_three_taps(client_as: Callable[..., Client]) -> None:
    """Begin, all the rest, finish; and nobody has to approve it."""
    kit, _ = kit_of(seal=2, spring=1)
    drawer = BinFactory(drawer=True)
    received(kit, drawer, 2, 1_000)
    received(PartFactory(), drawer, 5, 500)
    client = client_as("technician")
    check = begun(client, drawer, "drawer")
    for do in ("rest", "finish"):
        answer = client.post(f"/counts/{check.number}/", sent(do=do), follow=True)
    assert "Finished. All is as the books say." in answer.content.decode()
    check.refresh_from_db()
    assert check.state == "posted"
    assert prove() == []
