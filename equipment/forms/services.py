"""Forms about services: what they ask for, and how often."""

from decimal import Decimal
from typing import Any

from django import forms

from equipment import due
from equipment.forms.fields import KindField, NumberField, SpokenForm
from equipment.models import Service as ServiceModel
from equipment.models import ServiceVersion, Side, Skill
from equipment.services import CheckPlan, TriggerPlan

MEASURES = (*due.USE, due.DAYS)


class VersionForm(SpokenForm):
    """What a service asks for. An empty interval: not counted in that.

    seen: the version that the page showed, so that two people do not publish over each other.
    """

    every_hours = NumberField(label="Every so many hours", zero=False, required=False)
    every_strokes = NumberField(label="Every so many strokes", zero=False, required=False)
    every_gallons = NumberField(label="Every so many gallons", zero=False, required=False)
    every_days = NumberField(
        label="Every so many days",
        zero=False,
        places=0,
        required=False,
        help_text="Of several, whichever comes first.",
    )
    tolerance_percent = NumberField(
        label="Tolerance, per cent of the interval",
        required=False,
        places=2,
        help_text="How far past its interval it may go before it is overdue.",
    )
    is_hard_limit = forms.BooleanField(label="The limit is set by law", required=False)
    renews = forms.ChoiceField(
        label="The next one counts",
        choices=ServiceModel.Renews.choices,
        initial=ServiceModel.Renews.FLOATING,
    )
    is_rebuild = forms.BooleanField(
        label="It opens the component and renews what wears inside",
        required=False,
        help_text="After it, a pump’s balance with the other side begins anew.",
    )
    condition_sign = forms.CharField(
        label="Due at once when",
        max_length=200,
        required=False,
        help_text="A sign that it cannot wait: drips, milky oil.",
    )
    instructions = forms.CharField(
        label="What to do", required=False, widget=forms.Textarea(attrs={"rows": 4})
    )
    labour_minutes = NumberField(label="Takes, minutes", places=0, required=False)
    skill = forms.ChoiceField(label="Done by", choices=Skill.choices, initial=Skill.TECHNICIAN)
    source = forms.CharField(
        label="Where these figures come from",
        max_length=200,
        required=False,
        help_text="The maker’s manual and its page, or what this shop has seen.",
    )
    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        tolerance = cleaned.get("tolerance_percent")
        if tolerance is not None and tolerance > 100:
            self.add_error("tolerance_percent", "A tolerance lies between 0 and 100 per cent.")
        if tolerance and cleaned.get("is_hard_limit"):
            self.add_error("tolerance_percent", "A limit set by law has no tolerance.")
        minutes = cleaned.get("labour_minutes")
        if minutes is not None and minutes > 10_000:
            self.add_error("labour_minutes", "That is more than a week. Give minutes.")
        return cleaned

    def triggers(self) -> list[TriggerPlan]:
        """The measures with an interval, in their order."""
        given = ((measure, self.cleaned_data[f"every_{measure}"]) for measure in MEASURES)
        return [TriggerPlan(measure, interval) for measure, interval in given if interval]

    def asked(self) -> dict[str, Any]:
        """What the version says beside its triggers and checks."""
        data = self.cleaned_data
        plain = (
            "is_hard_limit", "renews", "is_rebuild", "condition_sign", "instructions", "skill",
            "source",
        )  # fmt: skip
        return {name: data[name] for name in plain} | {
            "tolerance_percent": data["tolerance_percent"] or Decimal(0),
            "labour_minutes": int(data["labour_minutes"] or 0),
        }


def told(version: ServiceVersion) -> dict[str, Any]:
    """What a version says, as the form shows it."""
    plain = (
        "tolerance_percent", "is_hard_limit", "renews", "is_rebuild", "condition_sign",
        "instructions", "labour_minutes", "skill", "source",
    )  # fmt: skip
    every = {f"every_{each.measure}": each.interval for each in version.triggers.all()}
    return {name: getattr(version, name) for name in plain} | every | {"seen": version.version}


class NewServiceForm(VersionForm):
    """A service that comes back on every component of a kind."""

    name = forms.CharField(label="Name", max_length=80, help_text="side seals, oil and filter")
    kind = KindField()
    side = forms.ChoiceField(
        label="Side",
        choices=[("", "either side"), *Side.choices[1:]],
        required=False,
    )
    checks = forms.CharField(
        label="Checks, one on each line",
        required=False,
        widget=forms.Textarea(attrs={"rows": 5}),
        help_text="Each becomes a box to tick on the sheet.",
    )
    field_order = ("name", "kind", "side")

    def clean_checks(self) -> list[CheckPlan]:
        lines = [line.strip() for line in self.cleaned_data["checks"].splitlines()]
        if any(len(line) > 200 for line in lines):
            raise forms.ValidationError("A check has at most 200 characters.")
        return [CheckPlan(text=line) for line in lines if line]
