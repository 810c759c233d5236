"""Forms about a rig: found work, jobs, and what the rig is made of."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext, gettext_lazy

from equipment.forms.fields import (
    DayField,
    KindField,
    NumberField,
    SentForm,
    SpokenForm,
    WhyField,
)
from equipment.forms.photos import PhotosFields
from equipment.models import Component, Counter, Installation, JobBooking, PumpDrive, Rig, Side
from equipment.services import INTENSITIES, how_hard

READ_IT = {"required": "Read the counter: what it counts from now on adds to it."}


class FindingForm(PhotosFields, SentForm):
    """Something wrong, where it is, how it looks, and whether the rig may go out with it."""

    field_order = ("text", "component", "photos", "is_grave")

    WHOLE_RIG = "rig"
    text = forms.CharField(
        label=gettext_lazy("What you found"),
        max_length=300,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    component = forms.ChoiceField(label=gettext_lazy("Where"))
    is_grave = forms.BooleanField(label=gettext_lazy("Rig must not leave"), required=False)

    def __init__(self, *args: Any, fitted: Sequence[Installation], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fitted = {str(row.component_id): row.component for row in fitted}
        self.fields["component"].choices = [  # type: ignore[attr-defined]
            (self.WHOLE_RIG, gettext("the rig as a whole")),
            *((str(row.component_id), _place_of(row)) for row in fitted),
        ]

    def clean_component(self) -> Component | None:
        return self.fitted.get(self.cleaned_data["component"])


def _place_of(row: Installation) -> str:
    kind = gettext(row.position.kind.name)
    return f"{f'{kind} {row.position.side}'.strip()}, {row.component}"


#: Rigs that are chosen by a tap on their number; of more than that the number is typed.
MOST_TO_TAP = 48


class ReportForm(PhotosFields, SentForm):
    """Something wrong, reported by whoever sees it: the rig, a few words, a photo."""

    field_order = ("rig", "text", "photos", "is_grave")

    rig = forms.ModelChoiceField(
        label=gettext_lazy("Rig"),
        queryset=Rig.objects.none(),
        to_field_name="number",
        empty_label=None,
        error_messages={
            "required": gettext_lazy("Choose the rig."),
            "invalid_choice": gettext_lazy("There is no rig of that number."),
        },
    )
    text = forms.CharField(
        label=gettext_lazy("What you found"),
        max_length=300,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": gettext_lazy("Say in a few words what you found.")},
    )
    is_grave = forms.BooleanField(label=gettext_lazy("Rig must not leave"), required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["rig"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = Rig.objects.order_by("number")
        #: The rigs to tap on, in the order of their numbers: each stays in its place.
        self.rigs = list(field.queryset[: MOST_TO_TAP + 1])
        self.is_typed = len(self.rigs) > MOST_TO_TAP
        if self.is_typed:
            field.widget = forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"})

    @property
    def chosen(self) -> str:
        """The number that is chosen or typed, as text."""
        return str(self["rig"].value() or "")


class FindingPhotosForm(PhotosFields, SentForm):
    """Photos of found work that is written down already."""

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if not self.errors and not self.pictures and not self.held:
            self.add_error("photos", "Choose a photo, or take one.")
        return cleaned


class CloseFindingForm(SpokenForm):
    """How found work was put right, or why it needs nothing."""

    closing = WhyField(label="How it was put right, or why it needs nothing", max_length=300)


class BookingForm(SpokenForm):
    """A job that takes the rig away."""

    job = forms.CharField(label="Job", max_length=60)
    first_day = DayField(label="First day away")
    last_day = DayField(label="Last day away")
    intensity = forms.TypedChoiceField(
        label="How hard the rig will work",
        help_text="Beside a usual day of a job, which counts 1. What the job will use follows it.",
        choices=[(str(each), words) for each, _, words in INTENSITIES],
        coerce=Decimal,
        initial="1",
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        first, last = cleaned.get("first_day"), cleaned.get("last_day")
        if first and last and last < first:
            self.add_error("last_day", "The job ends before it begins.")
        if first and first.year not in range(2000, 2100):
            self.add_error("first_day", "Check the year.")
        if first and last and (last - first).days > 366:
            self.add_error("last_day", "A job of more than a year? Check the days.")
        return cleaned


class ChangeBookingForm(BookingForm):
    """A job put right, of this rig."""

    def __init__(self, *args: Any, booking: JobBooking, **kwargs: Any) -> None:
        kept = booking.intensity.normalize()
        super().__init__(
            *args,
            initial={
                "job": booking.job,
                "first_day": booking.first_day,
                "last_day": booking.last_day,
                "intensity": f"{kept:f}",
            },
            **kwargs,
        )
        field = self.fields["intensity"]
        assert isinstance(field, forms.ChoiceField)
        if all(each != kept for each, _, _ in INTENSITIES):
            # Brought in from a file with a figure of its own: it may stay.
            known = [(str(each), words) for each, _, words in INTENSITIES]
            field.choices = [*known, (f"{kept:f}", f"As it is: {how_hard(kept)}")]


class JobForm(BookingForm):
    """A job of any rig that is in work."""

    rig = forms.ModelChoiceField(
        queryset=Rig.objects.none(),
        label="Rig",
        empty_label="Choose a rig",
        error_messages={"invalid_choice": "Choose one of the rigs."},
    )
    field_order = ("rig", "job", "first_day", "last_day", "intensity")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["rig"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = Rig.objects.working().order_by("number")


class RigForm(SpokenForm):
    """What a rig is called."""

    name = forms.CharField(label="Name", max_length=60)
    description = forms.CharField(
        label="What it is", max_length=120, required=False, help_text="24 ft trailer, grey."
    )


class ChangeRigForm(RigForm):
    """What a rig is called, how its pumps are driven, and whether it is out of work."""

    pump_drive = forms.ChoiceField(
        label="How its pumps are driven",
        choices=PumpDrive.choices,
        required=False,
        help_text="Linked pumps stroke alike whatever leaks; driven apart, strokes tell.",
    )

    is_laid_up = forms.BooleanField(
        label="Laid up: out of work, its services leave the due list", required=False
    )


class NewRigForm(RigForm):
    """A rig, at will with the usual positions and counters at once."""

    number = forms.IntegerField(
        label="Number",
        min_value=1,
        max_value=9999,
        error_messages={
            "invalid": "Give a whole number.",
            "min_value": "A rig number lies between 1 and 9999.",
            "max_value": "A rig number lies between 1 and 9999.",
        },
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    is_usual = forms.BooleanField(
        label="With the usual positions and counters",
        required=False,
        initial=True,
        help_text="Generator, compressor, dryer, hydraulic unit, pumps A and B, preheaters A and "
        "B, heated hose, gun. More can be added, and others instead.",
    )
    generator_hours = NumberField(label="Generator hours show now", error_messages=READ_IT)
    compressor_hours = NumberField(label="Compressor hours show now", error_messages=READ_IT)
    a_strokes = NumberField(label="A strokes show now", error_messages=READ_IT)
    b_strokes = NumberField(label="B strokes show now", error_messages=READ_IT)
    field_order = ("number", "name", "description", "is_usual")
    #: Needed only with the usual counters.
    FACES = ("generator_hours", "compressor_hours", "a_strokes", "b_strokes")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        is_bare = self.is_bound and not self["is_usual"].data
        for name in self.FACES:
            self.fields[name].required = not is_bare

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        number = cleaned.get("number")
        if number is not None and Rig.objects.filter(number=number).exists():
            self.add_error("number", "Another rig has this number.")
        return cleaned

    def first_values(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in self.FACES}


class PositionForm(SpokenForm):
    """A place in a rig."""

    order = forms.IntegerField(
        label="Place in the flow",
        min_value=1,
        max_value=999,
        help_text="1 is where the flow begins; power first, the gun last.",
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        error_messages={"invalid": "Give a whole number.", "min_value": "Begin with 1."},
    )
    kind = KindField()
    side = forms.ChoiceField(label="Side", choices=Side.choices, required=False)


class CounterForm(SpokenForm):
    """A counter on a rig, or one that travels with a component."""

    name = forms.CharField(
        label="Name",
        max_length=40,
        help_text="As the crew says it. “A strokes” and “Generator hours” say what they count.",
    )
    counts = forms.ChoiceField(label="Counts", choices=Counter.Counts.choices)
    side = forms.ChoiceField(
        label="Of which side",
        choices=[("", "as its name says, or both"), *Side.choices[1:]],
        required=False,
    )
    kind = KindField(
        label="Hours of", required=False, empty_label="as its name says, or the whole rig"
    )
    first_value = NumberField(label="Shows now")
    display_step = NumberField(
        label="Smallest step of the face",
        zero=False,
        initial=1,
        help_text="1, or 0.1 where it shows tenths.",
    )
    rollover = NumberField(
        label="Starts again at",
        zero=False,
        required=False,
        help_text="10000 for a face that shows 0 to 9999. Empty: it never starts again by itself.",
    )
    max_per_minute = NumberField(
        label="The most it can count in a minute",
        zero=False,
        required=False,
        help_text="Catches slips while reading. Hours need none.",
    )
    is_resettable = forms.BooleanField(label="It can be reset", required=False, initial=True)

    def __init__(self, *args: Any, component: Component | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if component is not None:
            del self.fields["side"], self.fields["kind"]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        first, rollover = cleaned.get("first_value"), cleaned.get("rollover")
        if first is not None and rollover is not None and first >= rollover:
            self.add_error("first_value", "It starts again before it could show that.")
        return cleaned


class ChangeCounterForm(CounterForm):
    """A counter that is there already. Once it was read, what it counts stands fixed."""

    field_order = ("name", "counts", "side", "kind", "display_step", "rollover")
    #: What says what is counted; the values of the model stand for the words of a new counter.
    OF_WHAT = ("counts", "side", "kind")

    def __init__(self, *args: Any, counter: Counter, was_read: bool, **kwargs: Any) -> None:
        self.counter = counter
        kept = ("name", *self.OF_WHAT, "display_step", "rollover", "max_per_minute")
        initial = {name: getattr(counter, name) for name in (*kept, "is_resettable")}
        super().__init__(*args, component=counter.component, initial=initial, **kwargs)
        del self.fields["first_value"]
        if "side" in self.fields:
            self.fields["side"].choices = Side.choices  # type: ignore[attr-defined]
            self.fields["kind"].empty_label = "the whole rig"  # type: ignore[attr-defined]
        if was_read:
            self._fix()

    def values(self) -> dict[str, Any]:
        """What was typed, and what stands fixed as it is."""
        return {name: getattr(self.counter, name) for name in self.OF_WHAT} | dict(
            self.cleaned_data
        )

    def _fix(self) -> None:
        units = (Counter.Counts.STROKES, Counter.Counts.CYCLES)
        for name in ("side", "kind"):
            self.fields.pop(name, None)
        if self.counter.counts in units:
            self.fields["counts"].choices = [  # type: ignore[attr-defined]
                (unit.value, unit.label) for unit in units
            ]
        else:
            del self.fields["counts"]
