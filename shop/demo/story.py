"""What every chapter of the demo needs: its people, its calendar, its dice."""

import random
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Final
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from equipment.models import Component, ComponentKind, Position, Rig
from inventory.models import Location, Part
from shop.models import Person, Shop

SHOP_NAME: Final = "Tern Hollow Insulating"
TIME_ZONE: Final = "America/Chicago"
PASSWORD: Final = "tern-hollow"
SEED: Final = 4112
#: About fourteen months.
HISTORY_DAYS: Final = 425
_IDS: Final = UUID("6d0f5bb6-3f0e-4f0a-9a63-5a1d3f2b7c11")


@dataclass(slots=True)
class Story:
    """The shop as it comes about. Days are counted from today: −1 is yesterday."""

    now: datetime
    zone: ZoneInfo
    #: How far back the book goes.
    days: int = HISTORY_DAYS
    dice: random.Random = field(default_factory=lambda: random.Random(SEED))
    #: How deliveries come: by dice of their own.
    stock_dice: random.Random = field(default_factory=lambda: dice_for("stock"))
    shop: Shop = field(init=False)
    manager: Person = field(init=False)
    technician: Person = field(init=False)
    electrician: Person = field(init=False)
    owner: Person = field(init=False)
    kinds: dict[str, ComponentKind] = field(default_factory=dict)
    rigs: dict[int, Rig] = field(default_factory=dict)
    positions: dict[tuple[int, str], Position] = field(default_factory=dict)
    components: dict[str, Component] = field(default_factory=dict)
    parts: dict[str, Part] = field(default_factory=dict)
    places: dict[str, Location] = field(default_factory=dict)
    #: Names in the storage of what was written there.
    files: list[str] = field(default_factory=list)
    _sent: int = 0

    @property
    def today(self) -> date:
        return self.now.astimezone(self.zone).date()

    @property
    def first_day(self) -> int:
        return -self.days

    def day(self, offset: int) -> date:
        return self.today + timedelta(days=offset)

    def at(self, offset: int, hour: int, minute: int = 0) -> datetime:
        """A moment of a day, by the clock on the shop's wall."""
        return datetime.combine(self.day(offset), time(hour, minute), self.zone)

    def is_sunday(self, offset: int) -> bool:
        return self.day(offset).weekday() == 6

    def new_id(self) -> UUID:
        """What a page or a phone makes for each thing it sends."""
        self._sent += 1
        return uuid5(_IDS, str(self._sent))

    def between(self, low: float, high: float, places: int = 0) -> Decimal:
        """A figure somewhere between two, with so many decimals."""
        return between(self.dice, low, high, places)


def dice_for(subject: str) -> random.Random:
    """Dice of their own for one subject: what happens elsewhere does not change how they fall."""
    return random.Random(f"{SEED} {subject}")


def between(dice: random.Random, low: float, high: float, places: int = 0) -> Decimal:
    return round(Decimal(repr(dice.uniform(low, high))), places)
