"""What the counters of a rig show: one small form for each face, and one for when."""

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext, gettext_lazy

from equipment.counters import (
    InFuture,
    OffTheFace,
    ReadingRefused,
    ResetValueTooLow,
    WentDown,
    plain,
)
from equipment.dates import MONTHS
from equipment.expecting import Expected
from equipment.forms.drums import DrumFields
from equipment.forms.fields import NumberField, SentForm, SpokenForm, WhenForm, WhyField
from equipment.forms.photos import PhotoFields
from equipment.models import Counter, Reading
from equipment.services import AlreadyReversed, NewReading, NothingCorrected
from equipment.services.expecting import Unusual

Step = Reading.Step
#: What happened to the face, as a person says it.
STEP_WORDS = {
    Step.CONTINUED: gettext_lazy("It counted on"),
    Step.RESET: gettext_lazy("It was reset"),
    Step.ROLLOVER: gettext_lazy("It rolled over"),
    Step.REPLACED: gettext_lazy("It has a new face"),
}
SINCE = (
    gettext_lazy("since Monday"),
    gettext_lazy("since Tuesday"),
    gettext_lazy("since Wednesday"),
    gettext_lazy("since Thursday"),
    gettext_lazy("since Friday"),
    gettext_lazy("since Saturday"),
    gettext_lazy("since Sunday"),
)
CORRECT = gettext_lazy("Correct the value")
NOT_YET = "Nothing is kept yet: see what is marked below."
SEND_AGAIN = "Nothing is kept yet. If what is marked below is right, send it once more as it is."


class FaceForm(SpokenForm):
    """What one face shows. Empty: it was not read."""

    value = NumberField(label=gettext_lazy("Shows"), required=False)
    step = forms.ChoiceField(
        label=gettext_lazy("What happened to the counter"),
        required=False,
        widget=forms.RadioSelect,
    )
    before_reset = NumberField(
        label=gettext_lazy("Last value before that"),
        required=False,
        help_text=gettext_lazy("Leave it empty if nobody saw it."),
    )
    face_start = NumberField(
        label=gettext_lazy("What the new face showed when fitted"), required=False
    )
    #: The value that was asked about: sent again as it was, it is meant.
    sure = forms.Field(required=False, widget=forms.HiddenInput)

    #: What the face may plausibly show; the page sets it where it is shown.
    expected: Expected | None = None

    def __init__(self, *args: Any, counter: Counter, place: str = "", **kwargs: Any) -> None:
        super().__init__(*args, prefix=f"c{counter.pk}", **kwargs)
        self.counter = counter
        #: The counter's name, with the place of the component that it travels with.
        name = gettext(counter.name) if counter.name else ""
        self.name = f"{place}, {name}" if place else name
        self.fields["step"].choices = [  # type: ignore[attr-defined]
            (step, STEP_WORDS[step]) for step in self._steps()
        ]
        self.fields["step"].initial = Step.CONTINUED
        self.asks = False

    def _steps(self) -> list[Step]:
        left_out = set()
        if not self.counter.is_resettable:
            left_out.add(Step.RESET)
        if self.counter.rollover is None:
            left_out.add(Step.ROLLOVER)
        order = (Step.CONTINUED, Step.RESET, Step.ROLLOVER, Step.REPLACED)
        return [step for step in order if step not in left_out]

    @property
    def unit(self) -> str:
        """The unit, unless the name says it: "A strokes" needs none behind its figures."""
        unit = self.counter.unit
        return "" if unit in self.counter.name.casefold().split() else unit

    @property
    def was_never_read(self) -> bool:
        return self.counter.last_at == self.counter.started_at

    @property
    def is_sure(self) -> bool:
        """Whether this very value was asked about before."""
        typed = self["value"].data
        return bool(typed) and self["sure"].data == typed

    @property
    def is_unfolded(self) -> bool:
        """Whether what happened to the face is in question, or was said."""
        if not self.is_bound:
            return self.initial.get("step", Step.CONTINUED) != Step.CONTINUED
        said = self.data.get(self.add_prefix("step"), "") not in ("", Step.CONTINUED)
        wrong = any(self[name].errors for name in ("step", "before_reset", "face_start"))
        return said or wrong or self.asks

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        step = cleaned.get("step") or Step.CONTINUED
        before, start = cleaned.get("before_reset"), cleaned.get("face_start")
        if cleaned.get("value") is None:
            if "value" not in self.errors and (step != Step.CONTINUED or before is not None):
                self.add_error("value", gettext("Say what it shows now."))
            return cleaned
        if step == Step.CONTINUED and (before is not None or start is not None):
            self.add_error("step", gettext("Say what happened to the counter."))
        if step == Step.REPLACED and start is None and "face_start" not in self.errors:
            self.add_error(
                "face_start", gettext("Say what the new face showed when it was fitted.")
            )
        return cleaned

    def reading(self) -> NewReading | None:
        """What was read, or None where nothing was typed."""
        value: Decimal | None = self.cleaned_data.get("value")
        if value is None:
            return None
        step = self.cleaned_data.get("step") or Step.CONTINUED
        changed = step in (Step.RESET, Step.REPLACED)
        return NewReading(
            counter=self.counter,
            value=value,
            step=step,
            before_reset=self.cleaned_data.get("before_reset") if changed else None,
            face_start=self.cleaned_data.get("face_start") if step == Step.REPLACED else None,
        )

    def ask(self, odd: Unusual) -> None:
        """Ask whether an unusual value is right; the same value once more is the answer."""
        self.data = {**dict(self.data.items()), self.add_prefix("sure"): self["value"].data}
        text = (
            gettext("More than usual: {counted} {since}. Is it right?")
            if odd.is_more
            else gettext("Less than usual: {counted} {since}. Is it right?")
        )
        since = _since(self.counter.last_at, self.today)
        counted = f"{plain(odd.counted)} {gettext(self.counter.unit)}"
        self.add_error("value", text.format(counted=counted, since=since))

    def is_as_kept(self, new: NewReading) -> bool:
        """Whether that stands on the page already, as its initial value."""
        details = ("value", "step", "before_reset", "face_start")
        return all(self.initial.get(name) == getattr(new, name) for name in details)

    def refuse(self, refusal: ReadingRefused) -> None:
        """Put what is wrong with the reading beside what was typed."""
        if isinstance(refusal, WentDown):
            self.asks = True
            choices = self.fields["step"].choices  # type: ignore[attr-defined]
            self.fields["step"].choices = [  # type: ignore[attr-defined]
                *((step, words) for step, words in choices if step != Step.CONTINUED),
                (Step.CONTINUED, CORRECT),
            ]
        about_before = isinstance(refusal, ResetValueTooLow) or (
            isinstance(refusal, OffTheFace)
            and refusal.value == self.cleaned_data.get("before_reset") is not None
        )
        self.add_error("before_reset" if about_before else "value", refusal.said(gettext))


class FacesOfARig(forms.Form):
    """The faces of a rig on one page, each with a form of its own in `faces`."""

    faces: Sequence[FaceForm] = ()

    def readings(self) -> list[NewReading]:
        """What was read, in the order of the page."""
        return [reading for face in self.faces if (reading := face.reading())]

    #: Whether nothing is wrong and only something asked.
    only_asks = False

    def doubts(self, odd: dict[int, Unusual]) -> list[tuple[FaceForm, Unusual]]:
        """What is unusual and was not asked about before."""
        return [
            (face, odd[face.counter.pk])
            for face in self.faces
            if face.counter.pk in odd and not face.is_sure
        ]

    def ask(
        self, doubts: list[tuple[FaceForm, Unusual]], refused: dict[int, ReadingRefused]
    ) -> None:
        """Ask beside each face whether it is right, and tell at once what cannot be."""
        for face, odd in doubts:
            face.ask(odd)
        if refused:
            self.refuse(refused)
        else:
            self.only_asks = True
            self.add_error(None, SEND_AGAIN)

    def expect(self, expected: dict[int, Expected]) -> None:
        """Put beside each face what it may plausibly show."""
        for face in self.faces:
            face.expected = expected.get(face.counter.pk)

    def refuse(self, errors: dict[int, ReadingRefused]) -> None:
        """Put what the service refused beside each counter; what is about the time, beside that."""
        for face in self.faces:
            refusal = errors.get(face.counter.pk)
            if isinstance(refusal, InFuture):
                if "time" not in self.errors:
                    self.add_error("time", str(refusal))
            elif refusal is not None:
                face.refuse(refusal)
        self.add_error(None, NOT_YET)


class ReadingsForm(FacesOfARig, PhotoFields, DrumFields, WhenForm):
    """One sending of readings: when, and the faces of the rig, each with its own form.

    counters: (counter, place of the component it travels with or nothing).
    """

    def __init__(
        self,
        data: Any,
        files: Any = None,
        *,
        now: datetime,
        counters: Sequence[tuple[Counter, str]],
        **kwargs: Any,
    ) -> None:
        self.faces = [
            FaceForm(data, now=now, counter=counter, place=place) for counter, place in counters
        ]
        super().__init__(data, files, now=now, **kwargs)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        sound = [face.is_valid() for face in self.faces]
        if not all(sound):
            self.add_error(None, NOT_YET)
        elif self.errors:
            if not self.non_field_errors():
                self.add_error(None, NOT_YET)
        elif not self.readings() and not self.levels():
            self.add_error(None, "Type what at least one counter shows.")
        return cleaned


class CorrectForm(WhenForm):
    """What a reading should have said: what the face showed, when, and what had happened to it."""

    reason = WhyField(label="What was wrong with it")

    def __init__(self, data: Any, *, now: datetime, reading: Reading, **kwargs: Any) -> None:
        self.wrong = reading
        local = timezone.localtime(reading.at)
        #: As it stands, to the minute that a page can show.
        self.stood_at = (
            local.date(),
            None if reading.is_day_only else local.time().replace(second=0, microsecond=0),
        )
        self.face = FaceForm(
            data,
            now=now,
            counter=reading.counter,
            initial={
                "value": reading.value,
                "step": reading.step,
                "before_reset": reading.before_reset,
                "face_start": reading.face_start,
            },
        )
        self.face.fields["value"].required = True
        self.face.fields["value"].error_messages["required"] = "Say what it showed."
        initial = dict(zip(("day", "time"), self.stood_at, strict=True))
        super().__init__(data, now=now, initial=initial, **kwargs)
        self.fields["day"].required = True

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if (cleaned.get("day"), cleaned.get("time")) == self.stood_at:
            # Not only to the minute: the moment was not in question.
            self.at, self.is_day_only = self.wrong.at, self.wrong.is_day_only
        if not self.face.is_valid():
            self.add_error(None, NOT_YET)
        return cleaned

    def reading(self) -> NewReading:
        """What it should have said. Only where the form is sound."""
        new = self.face.reading()
        assert new is not None
        return new

    def refuse(self, refusal: ReadingRefused) -> None:
        """Put what is wrong beside the face; what is about the time, beside that."""
        if isinstance(refusal, InFuture):
            self.add_error("time", str(refusal))
        elif isinstance(refusal, NothingCorrected | AlreadyReversed):
            self.add_error(None, str(refusal))
        else:
            self.face.refuse(refusal)
            self.add_error(None, NOT_YET)


class ReverseReadingForm(SentForm):
    """Why a reading is taken back."""

    reason = WhyField()


def _since(when: datetime, today: date) -> str:
    """ "since Tuesday", "since yesterday", "since 07:30 today", "since 3 Nov"."""
    local = timezone.localtime(when)
    days = (today - local.date()).days
    if days <= 0:
        return gettext("since {time} today").format(time=f"{local:%H:%M}")
    if days == 1:
        return gettext("since yesterday")
    if days < 7:
        return str(SINCE[local.weekday()])
    year = "" if local.year == today.year else f" {local.year}"
    day = f"{local.day} {MONTHS[local.month - 1]}{year}"
    return gettext("since {day}").format(day=day)
