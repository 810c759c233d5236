"""What is said when a component cannot go there, or come out, as asked."""

from datetime import datetime
from zoneinfo import ZoneInfo

from django.utils import timezone

from equipment.models import Component, Installation, Position, Side


class FittingRefused(ValueError):
    """A component cannot go there, or come out, as asked; its text is meant for the person."""


class AlreadyFitted(FittingRefused):
    def __init__(self, installation: Installation) -> None:
        self.installation = installation
        position = installation.position
        super().__init__(
            f"{installation.component} is fitted in rig {position.rig}, {position.label}. "
            "Take it out there first."
        )


class PositionTaken(FittingRefused):
    def __init__(self, installation: Installation) -> None:
        self.installation = installation
        super().__init__(f"{installation.component} is fitted there. Exchange it instead.")


class WrongKind(FittingRefused):
    def __init__(self, component: Component, position: Position) -> None:
        super().__init__(
            f"{component} is a {component.type.kind}, and this position is for a {position.kind}."
        )


class WrongSide(FittingRefused):
    def __init__(self, component: Component, position: Position) -> None:
        carried = {Side.A: "isocyanate", Side.B: "resin"}[Side(component.side)]
        super().__init__(
            f"A {component.type.kind} that carried {carried} does not go to the "
            f"{position.side} side."
        )


class OverlapsAnother(FittingRefused):
    """It, or what was in the position, sat somewhere else in that time."""

    def __init__(self, installation: Installation, zone: ZoneInfo, *, component: Component) -> None:
        self.installation = installation
        rule = "A position holds one component at a time."
        if installation.component_id == component.pk:
            rule = "A component is in one place at a time."
        super().__init__(f"{_stay(installation, zone)}. {rule}")


class SatThere(FittingRefused):
    """In the middle of that stay something else sat there: a question, never a guess."""

    def __init__(self, installation: Installation, zone: ZoneInfo) -> None:
        self.installation = installation
        super().__init__(
            f"{_stay(installation, zone)}. Was it taken out for that time, and put back?"
        )


class LaterChange(FittingRefused):
    """Something happened after what is to be undone, and hangs on it."""

    def __init__(self, installation: Installation, zone: ZoneInfo) -> None:
        self.installation = installation
        super().__init__(f"{_stay(installation, zone)}. Undo that first.")


class ExchangeUndone(FittingRefused):
    def __init__(self) -> None:
        super().__init__("This exchange was undone already.")


class NotYet(FittingRefused):
    def __init__(self) -> None:
        super().__init__("That time has not come yet.")


class EndsBeforeItBegins(FittingRefused):
    def __init__(self) -> None:
        super().__init__("It came out before it went in. Check both times.")


class NothingFitted(FittingRefused):
    def __init__(self) -> None:
        super().__init__("Nothing is fitted there.")


class RemovedBeforeFitted(FittingRefused):
    def __init__(self, installation: Installation, zone: ZoneInfo) -> None:
        self.installation = installation
        super().__init__(
            f"{installation.component} went in on {moment(installation.installed_at, zone)}; "
            "it cannot come out before that."
        )


class ComponentRetired(FittingRefused):
    def __init__(self, component: Component) -> None:
        super().__init__(f"{component} is retired.")


def moment(at: datetime, zone: ZoneInfo) -> str:
    """ "14 Jan 2026, 06:00", in the shop's zone."""
    local = timezone.localtime(at, zone)
    return f"{local.day} {local:%b %Y, %H:%M}"


def _stay(installation: Installation, zone: ZoneInfo) -> str:
    """Where and when something sat, as a sentence without its full stop."""
    since = moment(installation.installed_at, zone)
    where = f"rig {installation.position.rig}, {installation.position.label}"
    if installation.removed_at is None:
        return f"{installation.component} sits in {where} since {since}"
    until = moment(installation.removed_at, zone)
    return f"{installation.component} sat in {where} from {since} until {until}"
