"""Forms about what sits where: an exchange, a stay entered late, an exchange undone."""

from collections.abc import Sequence
from datetime import date, datetime, time
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.http import QueryDict
from django.utils import timezone

from equipment.counters import ReadingRefused
from equipment.forms.fields import (
    ClockField,
    ComponentField,
    DayField,
    SentForm,
    WhenForm,
    WhyField,
)
from equipment.forms.readings import FaceForm
from equipment.models import Component, Counter
from equipment.services import NewReading, SatThere


class ExchangeForm(WhenForm):
    """What comes out of a position, what goes in, when, and what the counters showed then.

    seen: the component that the page showed in the position; another one there now is a surprise.
    """

    EMPTY = "nothing, it stays empty"
    may_be_day_only = False
    component_in = ComponentField(label="Goes in", queryset=Component.objects.none())
    reason = WhyField(label="Why")
    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(
        self,
        data: Any,
        *,
        now: datetime,
        choices: QuerySet[Component],
        is_fitted: bool,
        seen: str,
        counters: Sequence[tuple[Counter, str]],
        **kwargs: Any,
    ) -> None:
        self.faces = [
            FaceForm(data, now=now, counter=counter, place=place) for counter, place in counters
        ]
        super().__init__(data, now=now, initial={"seen": seen}, **kwargs)
        field = self.fields["component_in"]
        assert isinstance(field, ComponentField)
        field.queryset = choices
        field.required = not is_fitted
        field.empty_label = self.EMPTY if is_fitted else "Choose a component"
        self.fields["time"].help_text = ""

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if not all([face.is_valid() for face in self.faces]):  # noqa: C419 (each says its own)
            self.add_error(None, "Nothing is kept yet: see what is marked below.")
        return cleaned

    def look_again(self, seen: str) -> None:
        """What the page shows now is another component than was sent: seen from here on."""
        there = f"{seen} is fitted there now" if seen else "Nothing is fitted there now"
        self.add_error(None, f"{there}, not what stood here before. Send again if that is right.")
        sent = QueryDict(mutable=True)
        sent.update(self.data)
        sent["seen"] = seen
        self.data = sent

    def readings(self) -> list[NewReading]:
        return [reading for face in self.faces if (reading := face.reading())]

    def refuse(self, errors: dict[int, ReadingRefused]) -> None:
        for face in self.faces:
            if refusal := errors.get(face.counter.pk):
                face.refuse(refusal)
        self.add_error(None, "Nothing is kept yet: see what is marked below.")


class QuickForm(SentForm):
    """One component from the shelf, in one tap."""

    component = ComponentField(
        label="Goes in",
        queryset=Component.objects.none(),
        error_messages={
            "required": "Tap the one that goes in.",
            "invalid_choice": "That one lies on the shelf no more. Look again.",
        },
    )

    def __init__(self, *args: Any, choices: QuerySet[Component], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["component"]
        assert isinstance(field, ComponentField)
        field.queryset = choices


class StayForm(SentForm):
    """A component that sat somewhere from one moment to another, both in the past."""

    component = ComponentField(
        label="What sat here",
        queryset=Component.objects.none(),
        empty_label="Choose a component",
    )
    day = DayField(label="Went in on")
    time = ClockField(label="at about")
    until_day = DayField(label="Came out on")
    until_time = ClockField(label="at about")
    reason = WhyField(label="How you know")
    was_out = forms.BooleanField(required=False, widget=forms.HiddenInput)
    at: datetime
    until: datetime

    def __init__(self, *args: Any, choices: QuerySet[Component], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["component"]
        assert isinstance(field, ComponentField)
        field.queryset = choices

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        at = self._moment("day", "time")
        until = self._moment("until_day", "until_time")
        if at is None or until is None:
            return cleaned
        if until <= at:
            self.add_error("until_day", "It came out before it went in. Check both times.")
        self.at, self.until = at, until
        return cleaned

    def ask(self, refused: SatThere) -> None:
        """Ask in place whether what sat there was out for that time."""
        box = forms.BooleanField(
            label=f"Yes: {refused.installation.component} was out for that time, and was put back",
            required=False,
        )
        self.fields["was_out"] = box
        self._bound_fields_cache.pop("was_out", None)  # type: ignore[attr-defined]
        self.add_error("was_out", str(refused))

    def _moment(self, day: str, clock: str) -> datetime | None:
        on: date | None = self.cleaned_data.get(day)
        at: time | None = self.cleaned_data.get(clock)
        if on is None or at is None:
            return None
        moment = datetime.combine(on, at, timezone.get_current_timezone())
        if on > self.today:
            self.add_error(day, "That day has not come yet.")
        elif moment > self.now:
            self.add_error(clock, "That time has not come yet.")
        return moment


class UndoExchangeForm(SentForm):
    """Why an exchange is undone."""

    reason = WhyField()
