"""A phone, as the tests hold one: entries made on it, and sent."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

from shop.models import Person, ServiceSheet, SheetStep
from shop.services.arriving import Outcome, arrive, pen_of, read_batch
from tests.shop.worlds import NOW

ZERO = timedelta(0)


@dataclass
class Phone:
    """A browser of one person. clock: how far it runs ahead of ours."""

    who: Person
    sheet: ServiceSheet
    clock: timedelta = ZERO
    id: UUID = field(default_factory=uuid4)
    pen: str = ""

    def __post_init__(self) -> None:
        self.pen = self.pen or pen_of(self.who)

    def entry(self, kind: str, *, at: datetime = NOW, **said: Any) -> dict[str, Any]:
        """An entry made at a moment, as our clock has it; the phone writes its own."""
        return {
            "event_id": str(uuid4()),
            "pen": self.pen,
            "at": (at + self.clock).isoformat(),
            "live": False,
            "kind": kind,
            **said,
        }

    def answer(self, step: SheetStep, answer: str = "done", **said: Any) -> dict[str, Any]:
        return self.entry("answer", step=step.pk, answer=answer, **said)

    def batch(self, *entries: dict[str, Any], now: datetime = NOW) -> dict[str, Any]:
        return {
            "phone": str(self.id),
            "now": (now + self.clock).isoformat(),
            "entries": list(entries),
        }

    def send(self, *entries: dict[str, Any], now: datetime = NOW) -> list[Outcome]:
        """What becomes of these entries, in their order."""
        from shop.models import Shop

        arrived = arrive(
            sheet=self.sheet,
            batch=read_batch(self.batch(*entries, now=now)),
            recorded_at=now,
            zone=Shop.objects.get().zone,
        )
        return [arrived.outcomes[each["event_id"]] for each in entries]

    def before_the_checks(self, *, at: datetime = NOW) -> list[dict[str, Any]]:
        """Cautions read, sources locked out, gauges at zero."""
        steps = self.sheet.steps.exclude(section="check").order_by("section", "order")
        return [
            self.answer(step, "value", value="0", at=at)
            if step.section == "zero"
            else self.answer(step, at=at)
            for step in steps
        ]

    def join(self, *, at: datetime = NOW) -> None:
        """A second person reads the cautions and puts on a lock of their own."""
        steps = [step for step in self.sheet.steps.all() if step.is_each_persons]
        self.send(*(self.answer(step, at=at) for step in steps), now=at)
