"""The small shop of tests/shop/worlds.py, and hands that work in it."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.apps import apps

from shop.models import Person, ServiceSheet, SheetStep, Shop
from shop.services.drafting import hand_out
from shop.services.in_order import open_returns
from shop.services.sheet_parts import enter_used, in_tray, take_parts
from shop.services.signing import sign_sheet
from shop.services.working import answer_step
from tests.shop.phones import Phone
from tests.shop.worlds import NOW, SheetWorld, sheet_world


@pytest.fixture
def world(shop: Shop, manager: Person) -> SheetWorld:
    return sheet_world(shop, manager)


@dataclass
class Hands:
    """A technician at work on a sheet, always at NOW."""

    sheet: ServiceSheet
    who: Person

    def fresh(self) -> ServiceSheet:
        self.sheet = ServiceSheet.objects.get(pk=self.sheet.pk)
        return self.sheet

    def steps(self, section: str) -> list[SheetStep]:
        return list(self.sheet.steps.filter(section=section).order_by("order"))

    def check(self, title: str) -> SheetStep:
        return self.sheet.steps.get(section="check", title=title)

    def answer(self, step: SheetStep, answer: str = "done", **more: Any) -> Any:
        given = {"author": self.who, "event_id": uuid4(), "at": NOW, "recorded_at": NOW}
        return answer_step(step=step, answer=answer, **{**given, **more})

    def open_the_checks(self) -> None:
        for section in ("caution", "lockout"):
            for step in self.steps(section):
                self.answer(step)
        for step in self.steps("zero"):
            self.answer(step, "value", value=Decimal(0))

    def do_the_checks(self) -> None:
        self.answer(self.check("Oil and filter changed"))
        self.answer(self.check("Volts at rated load"), "value", value=Decimal(240))
        self.answer(self.check("Side seal"), "choice", choice="good")

    def take(self) -> None:
        take_parts(sheet=self.sheet, author=self.who, at=NOW, request_id=uuid4())

    def use(self, **steps: int) -> None:
        """Say how much was used, by part number; of all others everything in the tray."""
        tray = in_tray(self.fresh())
        for row in self.sheet.parts.select_related("part"):
            enter_used(
                sheet_part=row,
                used_steps=steps.get(row.part.number, tray.get(row.part_id, 0)),
                event_id=uuid4(),
                author=self.who,
                at=NOW,
                recorded_at=NOW,
            )

    def put_back_into_service(self) -> None:
        again = open_returns(self.sheet)
        for step in self.steps("return"):
            if step.entry_id is None or step in again:
                self.answer(step)

    def sign(self, *, in_service: bool = True, **more: Any) -> ServiceSheet:
        if in_service and self.fresh().is_open:
            self.put_back_into_service()
        given = {
            "author": self.who,
            "at": NOW,
            "signature": "T. Reed",
            "labour_minutes": 90,
            "leave_undone": False,
            "signing_id": uuid4(),
        }
        return sign_sheet(sheet=self.sheet, **{**given, **more})


@pytest.fixture
def hands(world: SheetWorld, technician: Person) -> Hands:
    """A sheet of both services, handed out."""
    sheet = world.draft()
    hand_out(sheet=sheet, technician=technician, author=world.manager, at=NOW)
    return Hands(ServiceSheet.objects.get(pk=sheet.pk), technician)


@pytest.fixture
def done(hands: Hands) -> Hands:
    """The same, with everything entered and nothing signed."""
    hands.take()
    hands.open_the_checks()
    hands.do_the_checks()
    hands.put_back_into_service()
    hands.use()
    hands.fresh()
    return hands


@pytest.fixture
def phone(hands: Hands, technician: Person) -> Phone:
    return Phone(technician, hands.sheet)


@pytest.fixture
def opened(phone: Phone) -> Phone:
    """A phone whose sheet has its checks open."""
    assert {each.state for each in phone.send(*phone.before_the_checks())} == {"taken"}
    return phone


def rows_of_every_table() -> dict[str, int]:
    """How many rows each of our tables holds: equal before and after what was refused."""
    ours = ("shop", "equipment", "inventory")
    return {
        model._meta.label: model._default_manager.count()
        for name in ours
        for model in apps.get_app_config(name).get_models(include_auto_created=True)
    }


def later(moment: datetime) -> dict[str, datetime]:
    return {"at": moment, "recorded_at": moment}
