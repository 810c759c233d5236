from equipment.models.care import (
    Basis,
    Caution,
    Check,
    Renewal,
    Season,
    Service,
    ServiceVersion,
    Skill,
    Trigger,
)
from equipment.models.counters import Counter, Measure, Reading, Wear, WearSource
from equipment.models.drums import DrumLevel
from equipment.models.dues import Due, DueClock, Measurement, Postponement
from equipment.models.exchanges import Exchange
from equipment.models.knowledge import Known
from equipment.models.photos import FacePhoto, FindingPhoto
from equipment.models.rigs import (
    Component,
    ComponentKind,
    ComponentType,
    Installation,
    JobBooking,
    Position,
    PumpDrive,
    Rig,
    Side,
)
from equipment.models.rounds import Finding, Round, RoundAnswer, RoundItem
from equipment.models.shiftlogs import LogContradiction, LogLayout, ShiftDay, ShiftLog
from equipment.models.sides import (
    BroughtForward,
    Compared,
    SideAnswer,
    SideSignal,
    SideWatch,
)
from equipment.models.usage import UsageRate

__all__ = [
    "Basis",
    "BroughtForward",
    "Caution",
    "Check",
    "Compared",
    "Component",
    "ComponentKind",
    "ComponentType",
    "Counter",
    "DrumLevel",
    "Due",
    "DueClock",
    "Exchange",
    "FacePhoto",
    "Finding",
    "FindingPhoto",
    "Installation",
    "JobBooking",
    "Known",
    "LogContradiction",
    "LogLayout",
    "Measure",
    "Measurement",
    "Position",
    "Postponement",
    "PumpDrive",
    "Reading",
    "Renewal",
    "Rig",
    "Round",
    "RoundAnswer",
    "RoundItem",
    "Season",
    "Service",
    "ServiceVersion",
    "ShiftDay",
    "ShiftLog",
    "Side",
    "SideAnswer",
    "SideSignal",
    "SideWatch",
    "Skill",
    "Trigger",
    "UsageRate",
    "Wear",
    "WearSource",
]
