"""Fields that read quantities and money, and what every form that is sent has in common."""

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from typing import Any
from uuid import uuid4

from django import forms
from django.http import QueryDict
from django.utils import timezone
from django.utils.text import format_lazy
from django.utils.translation import gettext, gettext_lazy

from inventory.models import Location, Lot, Part
from inventory.quantities import QuantityRefused, format_quantity, read_quantity, to_cents
from inventory.services.naming import MOST_LETTERS, packs_of
from inventory.services.posting import in_words
from inventory.shelf_life import quarter_end

#: A phone's clock may be this far ahead of ours before "later than now" is refused.
CLOCK_SLACK = timedelta(minutes=5)


def measure_of(part: Part) -> dict[str, Any]:
    """What a `QuantityField` is made with for a part: its step, its unit and its packs."""
    return {
        "steps_per_unit": part.steps_per_unit,
        "unit_name": part.unit_name,
        "packs": packs_of(part),
    }


class QuantityField(forms.CharField):
    """A quantity in the part's unit or its packs; cleans to whole steps.

    Made with `measure_of(part)`, or given it later by `of` where the part is typed beside it.
    """

    def __init__(
        self,
        *,
        steps_per_unit: int = 1,
        unit_name: str = "",
        zero: bool = False,
        packs: Mapping[str, int] | None = None,
        **kwargs: Any,
    ) -> None:
        self.steps_per_unit = steps_per_unit
        self.unit_name = unit_name
        #: By name, what one holds [steps]: "2 pails" is then read too.
        self.packs = packs or {}
        self.zero = zero
        whole = steps_per_unit == 1
        if self.packs:
            said = kwargs.get("help_text", "")
            kwargs["help_text"] = f"{said} {self._in_packs()}".strip()
        kwargs.setdefault(
            "widget",
            forms.TextInput(
                attrs={
                    "inputmode": "text" if self.packs else "numeric" if whole else "decimal",
                    "autocomplete": "off",
                }
            ),
        )
        super().__init__(max_length=40, **kwargs)
        if unit_name and self.label:
            unit = gettext_lazy("pieces") if unit_name == "piece" else unit_name
            self.label = format_lazy("{}, {}", self.label, unit)

    def of(self, part: Part) -> None:
        """Read from here on in the unit and packs of this part."""
        self.steps_per_unit = part.steps_per_unit
        self.unit_name = part.unit_name
        self.packs = packs_of(part)

    def _in_packs(self) -> str:
        """How packs are written here, and what each holds."""
        names = [
            gettext("{pack} of {quantity}").format(
                pack=name,
                quantity=format_quantity(holds, self.steps_per_unit, self.unit_name),
            )
            for name, holds in self.packs.items()
        ]
        return gettext("Or in packs: 2 {pack}. Known here: {packs}.").format(
            pack=next(iter(self.packs)), packs=", ".join(names)
        )

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        try:
            steps = read_quantity(
                text,
                steps_per_unit=self.steps_per_unit,
                unit_name=self.unit_name,
                packs=self.packs,
            )
        except QuantityRefused as refused:
            raise forms.ValidationError(refused.said(gettext)) from refused
        if not steps and not self.zero:
            raise forms.ValidationError(gettext("Give a quantity above zero."))
        return steps


class MoneyField(forms.CharField):
    """An amount of money; cleans to whole cents."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault(
            "widget", forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        )
        super().__init__(max_length=40, **kwargs)

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        try:
            return to_cents(text)
        except QuantityRefused as refused:
            raise forms.ValidationError(str(refused)) from refused


class DayField(forms.DateField):
    """A calendar day, from the browser's own picker or written as 2026-03-02."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
        kwargs.setdefault("error_messages", {"invalid": "Write the day like 2026-03-02."})
        super().__init__(**kwargs)


class MadeOnField(forms.CharField):
    """The day something was cured or made: a day, or the quarter that its package carries.

    Cleans to the text; `made_on` reads it once the form knows today.
    """

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("max_length", 20)
        kwargs.setdefault("widget", forms.TextInput(attrs={"autocomplete": "off"}))
        super().__init__(**kwargs)


def made_on(text: str, *, today: date) -> date | None:
    """The day that a `MadeOnField` names; None where nothing was entered."""
    if not text:
        return None
    if (day := quarter_end(text, today=today)) is None:
        try:
            day = date.fromisoformat(text)
        except ValueError as wrong:
            raise forms.ValidationError(
                "Write a day like 2026-03-02, or a quarter like 3Q2026."
            ) from wrong
    if day > today:
        raise forms.ValidationError("This is later than today.")
    return day


def refuse_age(form: forms.Form, part: Part) -> None:
    """Say beside its fields what is wrong with how old a receipt is said to be.

    form: one with `cured_on` and `expires_on`, read already.
    """
    cured, expires = form.cleaned_data.get("cured_on"), form.cleaned_data.get("expires_on")
    if cured and expires and expires < cured:
        form.add_error("expires_on", "This is before it was cured.")
    if part.ages and not cured and not expires and "cured_on" not in form.errors:
        form.add_error(
            "cured_on", "This part ages: give the day or quarter, or else the use-by day."
        )


class SentForm(forms.Form):
    """A form with the number of its sending, so that the same one sent twice counts once.

    now: the moment the view read from the clock.
    """

    request_id = forms.UUIDField(
        widget=forms.HiddenInput,
        error_messages={
            "required": gettext_lazy("The page came incomplete. Send it again."),
            "invalid": gettext_lazy("The page came incomplete. Send it again."),
        },
    )

    def __init__(self, *args: Any, now: datetime, **kwargs: Any) -> None:
        self.now = now
        super().__init__(*args, **kwargs)
        self.fields["request_id"].initial = uuid4

    def full_clean(self) -> None:
        """Clean; a page that came without its number gets a new one, so that it can be sent."""
        for name, field in self.fields.items():
            if name != "request_id":
                field.error_messages["required"] = gettext("This is needed.")
        super().full_clean()
        if self.is_bound and "request_id" in self.errors:
            incomplete = self.errors.pop("request_id").as_data()
            sent = QueryDict(mutable=True)
            sent.update(self.data)
            sent[self.add_prefix("request_id")] = str(uuid4())
            self.data = sent
            self.add_error(None, incomplete)


class MomentForm(SentForm):
    """A form about something that happened, now or earlier."""

    at = forms.DateTimeField(
        label="When",
        required=False,
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        error_messages={"invalid": "Write the moment like 2026-03-02 14:30."},
        help_text="Leave it as it is for now.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["at"].initial = timezone.localtime(self.now).replace(second=0, microsecond=0)

    def clean_at(self) -> datetime:
        at: datetime | None = self.cleaned_data["at"]
        if at is None:
            return self.now
        if at > self.now + CLOCK_SLACK:
            raise forms.ValidationError("This is later than now.")
        # Untouched, the field shows the minute that has begun: what happens now is not backdated.
        if self.now - at < timedelta(minutes=1):
            return self.now
        return at


class SureForm(SentForm):
    """A form that asks back before it does something that is probably a slip.

    `sure` is only shown once there was a question.
    """

    sure = forms.BooleanField(required=False, label=gettext_lazy("Yes, that is right"))

    @property
    def is_asking(self) -> bool:
        return bool(self.errors.get("sure")) or (self.is_bound and bool(self["sure"].data))

    def ask(self, questions: list[str]) -> None:
        """Refuse until the person says that it is meant."""
        if questions and not self.cleaned_data.get("sure"):
            for question in questions:
                self.add_error("sure", question)


class AskingForm(SureForm, MomentForm):
    """A `SureForm` about something that happened, now or earlier."""


def part_field(**kwargs: Any) -> forms.CharField:
    """A field for a part: its number, a maker's code, or what a scanner reads on our label.

    A scanner ends with Enter: that leads to the next empty field (shop/page.js, `data-scans`).
    """
    attrs = {
        "list": "part-numbers",
        "autocomplete": "off",
        "autocapitalize": "off",
        "spellcheck": "false",
        "data-scans": "yes",
    }
    kwargs.setdefault("label", gettext_lazy("Part number"))
    kwargs.setdefault("error_messages", {"max_length": gettext_lazy("No part number is so long.")})
    return forms.CharField(max_length=MOST_LETTERS, widget=forms.TextInput(attrs=attrs), **kwargs)


class PlaceField(forms.ModelChoiceField):
    """One place; the label says what lies there when the form knows it."""

    def __init__(self, *, held: dict[int, int] | None = None, part: Part | None = None, **kw: Any):
        self.held = held or {}
        self.part = part
        kw.setdefault("queryset", Location.objects.in_use().order_by("code"))
        kw.setdefault("empty_label", "Choose a place")
        kw.setdefault("error_messages", {"invalid_choice": "That place is not in use."})
        super().__init__(**kw)

    def label_from_instance(self, obj: Location) -> str:
        name = f"{obj.code}, {obj.name}" if obj.name else obj.code
        steps = self.held.get(obj.pk)
        if self.part is not None and steps:
            return f"{name}: {in_words(self.part, steps)}"
        return name


class LotField(forms.ModelChoiceField):
    """One lot of a part, or none named: then the first to expire goes first."""

    def __init__(self, *, part: Part, **kw: Any) -> None:
        self.part = part
        kw.setdefault("label", "Lot")
        kw.setdefault("required", False)
        kw.setdefault("queryset", Lot.objects.filter(part=part).order_by("expires_on", "pk"))
        kw.setdefault("empty_label", "The first to expire")
        kw.setdefault("error_messages", {"invalid_choice": "That is not a lot of this part."})
        super().__init__(**kw)

    def label_from_instance(self, obj: Lot) -> str:
        words = f"{obj.code}: {in_words(self.part, obj.quantity_left_steps)} left"
        return f"{words}, use by {obj.expires_on:%Y-%m-%d}" if obj.expires else words
