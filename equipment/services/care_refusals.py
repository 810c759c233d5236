"""What a service, its renewal or its putting off is refused for, in words for the person."""

from datetime import date
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from equipment.models import Component, Service


class CareRefused(ValueError):
    """Something about a service cannot be as asked; its text is meant for the person."""


class WholeDays(CareRefused):
    def __init__(self) -> None:
        super().__init__("An interval of time is a whole number of days or months.")


class Unclear(CareRefused):
    """A trigger lacks what it is about."""


class OneGrid(CareRefused):
    def __init__(self) -> None:
        super().__init__(
            "A service that counts from its planned day has one interval of time: days or months, "
            "not both."
        )


class ServiceRetired(CareRefused):
    def __init__(self, service: "Service") -> None:
        super().__init__(f"“{service}” is retired.")


class OfAnotherKind(CareRefused):
    def __init__(self, service: "Service") -> None:
        super().__init__(f"“{service}” is a service of another kind of component.")


class IncludesItself(CareRefused):
    """One of the services included does, or itself includes, the service that would include it."""

    def __init__(self, service: "Service", included: "Service") -> None:
        if service.pk == included.pk:
            super().__init__("A service cannot include itself.")
        else:
            super().__init__(f"“{included}” includes “{service}”, so it cannot be part of it.")


class DoesNotApply(CareRefused):
    def __init__(self, service: "Service", component: "Component") -> None:
        super().__init__(f"“{service}” is no service of {component}.")


class NotYetDone(CareRefused):
    def __init__(self) -> None:
        super().__init__("That time has not come yet. Check when the service was done.")


class AlreadyUndone(CareRefused):
    def __init__(self) -> None:
        super().__init__("This renewal was undone already.")


class PostponingRefused(CareRefused):
    """A service cannot be put off so."""


class LimitOfLaw(PostponingRefused):
    def __init__(self, service: "Service") -> None:
        super().__init__(f"“{service}” has a limit set by law. It cannot be put off.")


class NotAhead(PostponingRefused):
    def __init__(self) -> None:
        super().__init__("Put it off to a day after today.")


class FarAhead(PostponingRefused):
    """A question: asked once, the same sent again with `is_sure` is the answer."""

    def __init__(self, until: date) -> None:
        super().__init__(
            f"{until.day} {until:%b %Y} is more than a year ahead. Is that meant? Send it again."
        )


class SayWhy(PostponingRefused):
    def __init__(self) -> None:
        super().__init__("Say why it is put off.")


class Meanwhile(PostponingRefused):
    """What was looked at is no longer so; asked once, the same sent again is the answer."""

    def __init__(self) -> None:
        super().__init__(
            "It was done, put off or changed since you opened this page. Look at it again, "
            "and send this again if it is still meant."
        )


class NoLongerPutOff(PostponingRefused):
    def __init__(self) -> None:
        super().__init__("That was taken off already.")
