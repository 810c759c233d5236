from shop.models.after import Correction, SecondLook
from shop.models.bridges import PartsNeed, RigDrawer
from shop.models.cautions import TextReading
from shop.models.feeds import CalendarFeed
from shop.models.imports import ImportedFile
from shop.models.isolation import IsolationPoint
from shop.models.knowledge import LineNote
from shop.models.logs import ComingLog
from shop.models.people import Language, Person, Role, Shop
from shop.models.sheets import (
    PartEntry,
    ReadingEntry,
    ServiceSheet,
    SheetLine,
    SheetPart,
    SheetStep,
    SignedCopy,
    StepEntry,
)
from shop.models.unsettled import Arrival, Settlement, Unsettled
from shop.models.worktime import HandOver, MissingPart, TimeEntry, WaitEntry

__all__ = [
    "Arrival",
    "CalendarFeed",
    "ComingLog",
    "Correction",
    "HandOver",
    "ImportedFile",
    "IsolationPoint",
    "Language",
    "LineNote",
    "MissingPart",
    "PartEntry",
    "PartsNeed",
    "Person",
    "ReadingEntry",
    "RigDrawer",
    "Role",
    "SecondLook",
    "ServiceSheet",
    "Settlement",
    "SheetLine",
    "SheetPart",
    "SheetStep",
    "Shop",
    "SignedCopy",
    "StepEntry",
    "TextReading",
    "TimeEntry",
    "Unsettled",
    "WaitEntry",
]
