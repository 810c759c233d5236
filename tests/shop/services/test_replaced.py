"""What is asked before a signature where something was replaced and no part is noted for it."""

from decimal import Decimal

import pytest

from shop.models import ServiceSheet
from shop.services.replaced import NoPartUsed, means_replaced, refuse_without_parts
from tests.shop.phones import Phone
from tests.shop.services.conftest import Hands
from tests.shop.services.test_signed_on_a_phone import send, sign
from tests.shop.worlds import SheetWorld

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("choice", "is_so"),
    [
        # equipment/library/checks.csv
        ("replaced", True),
        ("good", False),
        ("polished", False),
        ("lapped", False),
        ("cleaned", False),
        # as a shop may write its own
        ("Replaced both", True),
        ("seal renewed", True),
        ("cambiada", True),
        ("not replaced", False),
        ("unchanged", False),
        ("", False),
    ],
)
def test_which_choices_say_so(choice: str, is_so: bool) -> None:
    assert means_replaced(choice) is is_so


def asked(sheet: ServiceSheet) -> list[str]:
    try:
        refuse_without_parts(sheet)
    except NoPartUsed as question:
        return [step.title for step in question.steps]
    return []


def test_only_what_was_replaced_without_a_part_of_its_line_is_asked_about(
    done: Hands, world: SheetWorld
) -> None:
    assert asked(done.sheet) == []
    done.answer(done.check("Side seal"), "choice", choice="replaced")
    assert asked(done.sheet) == []  # the kit of its line is used
    done.use(**{world.kit.number: 0})
    assert asked(done.sheet) == ["Side seal"]  # a filter of the other line is none of its parts
    done.sheet.parts.filter(part=world.filter_part).update(part=world.seal, line=None)
    assert asked(done.sheet) == []  # what no line asked for may be of any


def test_a_value_put_right_by_a_part_is_asked_about_too(done: Hands, world: SheetWorld) -> None:
    volts = done.check("Volts at rated load")
    done.answer(volts, "value", value=Decimal(300), left_value=Decimal(240), remedy="replaced")
    assert asked(done.sheet) == []
    done.use(**{world.filter_part.number: 0})
    assert asked(done.sheet) == ["Volts at rated load"]


def test_parts_of_a_kit_that_was_not_there_whole_count_for_its_line(
    done: Hands, world: SheetWorld
) -> None:
    done.answer(done.check("Side seal"), "choice", choice="replaced")
    row = done.sheet.parts.get(part=world.kit)
    done.sheet.parts.filter(pk=row.pk).update(part=world.seal, for_kit=world.kit, line=None)
    assert asked(done.sheet) == []


@pytest.fixture
def bare(done: Hands, world: SheetWorld) -> Phone:
    done.answer(done.check("Side seal"), "choice", choice="replaced")
    done.use(**{world.kit.number: 0})
    return Phone(done.who, done.sheet)


def test_live_it_is_asked_and_the_same_again_is_signed(bare: Phone) -> None:
    made = {**sign(bare), "live": True}
    [outcome] = send(bare, made)
    assert (outcome.state, outcome.field) == ("refused", "sure")
    assert outcome.words == (
        "Marked as replaced, and no part is noted as used for it: Side seal. Sign all the same?"
    )
    assert ServiceSheet.objects.get(pk=bare.sheet.pk).is_open
    assert [each.state for each in send(bare, {**made, "sure": "yes"})] == ["taken"]


def test_a_phone_that_asked_itself_is_not_asked_again(bare: Phone) -> None:
    made = {**sign(bare, no_parts=True), "live": True}
    assert [each.state for each in send(bare, made)] == ["taken"]


def test_what_was_signed_without_signal_is_a_fact(bare: Phone) -> None:
    assert [each.state for each in send(bare, sign(bare))] == ["taken"]
    assert ServiceSheet.objects.get(pk=bare.sheet.pk).unsettled.count() == 0
