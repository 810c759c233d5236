"""Forms about services: what they ask for, when they fall due, what they are copied to."""

from decimal import Decimal
from typing import Any, Final

from django import forms
from django.db.models import QuerySet

from equipment import due
from equipment.asked import day_of_year
from equipment.forms.fields import KindField, NumberField, SeveralField, SpokenForm, WhyField
from equipment.models import (
    Caution,
    ComponentKind,
    Rig,
    Season,
    Service,
    ServiceVersion,
    Side,
    Skill,
)
from equipment.services import TriggerPlan

SIDES: Final = [("", "either side"), *Side.choices[1:]]
#: A week of work without a break.
MOST_MINUTES: Final = 10_000


class RigsField(forms.CharField):
    """Rigs by their numbers, "4, 7"; cleans to the rigs, none for all."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("label", "Only in rigs")
        kwargs.setdefault("required", False)
        kwargs.setdefault("max_length", 400)
        kwargs.setdefault("help_text", "Their numbers: 4, 7. Empty: in every rig.")
        super().__init__(**kwargs)

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, (list, tuple, QuerySet)):
            return ", ".join(f"{rig.number:02d}" for rig in value)
        return value

    def clean(self, value: Any) -> list[Rig]:
        words = super().clean(value).replace(",", " ").split()
        wrong = [word for word in words if not (word.isascii() and word.isdigit())]
        if wrong:
            raise forms.ValidationError("Write the numbers of rigs, like 4, 7.")
        numbers = {int(word) for word in words}
        # No rig has more digits than a column of numbers holds.
        known = Rig.objects.in_bulk([n for n in numbers if n < 10**9], field_name="number")
        unknown = sorted(numbers - known.keys())
        if unknown:
            raise forms.ValidationError(f"There is no rig {unknown[0]:02d}.")
        return [known[number] for number in sorted(numbers)]


class CautionsField(SeveralField):
    """The cautions, each with what to do about it."""

    def label_from_instance(self, obj: Caution) -> str:
        return f"{obj.hazard}: {obj.text}"


class ServicesField(SeveralField):
    """Services of one kind of component, by name."""

    def label_from_instance(self, obj: Service) -> str:
        return f"{obj.name}, side {obj.side}" if obj.side else obj.name


class SeasonField(forms.ModelChoiceField):
    """A day of the year, with the day."""

    def label_from_instance(self, obj: Season) -> str:
        return f"{obj.name}, {day_of_year(obj.month, obj.day)}"


class AskForm(SpokenForm):
    """What a service asks for, but its checks, and what falls due after or by a value.

    kind: of the components it is for. service: the one that is changed, None for a new one.
    seen: the version that the page showed, so that two people do not publish over each other.
    """

    only_rigs = RigsField()
    every_hours = NumberField(label="Every, hours", zero=False, required=False)
    first_hours = NumberField(label="First time at a life of, hours", zero=False, required=False)
    every_strokes = NumberField(label="Every, strokes", zero=False, required=False)
    first_strokes = NumberField(
        label="First time at a life of, strokes", zero=False, required=False
    )
    every_gallons = NumberField(label="Every, gallons", zero=False, required=False)
    first_gallons = NumberField(
        label="First time at a life of, gallons", zero=False, required=False
    )
    every_days = NumberField(label="Every, days", places=0, zero=False, required=False)
    every_months = NumberField(label="Every, months", places=0, zero=False, required=False)
    season = SeasonField(
        label="Before a day of the year", queryset=Season.objects.none(), required=False,
        empty_label="none",
    )  # fmt: skip
    days_season = NumberField(
        label="Counts when done within, days before", places=0, zero=False, required=False
    )
    days_idle = NumberField(label="After days without use", places=0, zero=False, required=False)
    days_job = NumberField(
        label="Before the rig leaves for a job, within, days",
        help_text="Done within so many days before, it counts for that job. Empty: not asked.",
        places=0,
        zero=False,
        required=False,
    )
    rule = forms.ChoiceField(
        label="Of several",
        choices=[
            (due.WHICHEVER_FIRST, "due by whichever falls first"),
            (due.ALL_OF_THEM, "due only once all of them have"),
        ],
        initial=due.WHICHEVER_FIRST,
        widget=forms.RadioSelect,
    )
    condition_sign = forms.CharField(
        label="Due at once when",
        max_length=200,
        required=False,
        help_text="A sign that it cannot wait: drips, milky oil.",
    )
    tolerance_percent = NumberField(
        label="Late by at most, per cent of the interval",
        required=False,
        places=2,
        help_text="How far past its interval it may go before it is overdue.",
    )
    early_percent = NumberField(
        label="Early by at most, per cent of the interval",
        required=False,
        places=2,
        help_text="Done so much before, it counts as done in time.",
    )
    is_hard_limit = forms.BooleanField(label="The limit is set by law", required=False)
    renews = forms.ChoiceField(
        label="Days and months of the next one count",
        choices=Service.Renews.choices,
        initial=Service.Renews.FLOATING,
        widget=forms.RadioSelect,
    )
    instructions = forms.CharField(
        label="What to do",
        required=False,
        max_length=4_000,
        widget=forms.Textarea(attrs={"rows": 4}),
    )
    labour_minutes = NumberField(label="Takes, minutes", places=0, required=False)
    skill = forms.ChoiceField(label="Done by", choices=Skill.choices, initial=Skill.TECHNICIAN)
    is_rebuild = forms.BooleanField(
        label="It opens the component and renews what wears inside",
        required=False,
        help_text="After it, a pump’s balance with the other side begins anew.",
    )
    second_look = forms.BooleanField(
        label="A manager other than who signed looks at it again",
        required=False,
        help_text="The signed sheet stands on the manager’s day until then.",
    )
    includes = ServicesField(
        label="Smaller services done with it",
        queryset=Service.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="They count as done when it is, and it stands for them when both are due.",
    )
    cautions = CautionsField(
        label="Cautions to be read first",
        queryset=Caution.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    source = forms.CharField(
        label="Where these figures come from",
        max_length=200,
        required=False,
        help_text="The maker’s manual and its page, or what this shop has seen.",
    )
    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(
        self, *args: Any, kind: ComponentKind, service: Service | None = None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        others = Service.objects.filter(kind=kind, is_retired=False).order_by("name", "side")
        if service is not None:
            others = others.exclude(pk=service.pk)
        queries = {
            "includes": others,
            "cautions": Caution.objects.order_by("code"),
            "season": Season.objects.order_by("month", "day", "name"),
        }
        for name, query in queries.items():
            field = self.fields[name]
            assert isinstance(field, forms.ModelChoiceField)
            field.queryset = query

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        for measure in due.USE:
            if cleaned.get(f"first_{measure}") and not cleaned.get(f"every_{measure}"):
                self._say(f"every_{measure}", f"And then every so many {measure}?")
        if cleaned.get("season") and cleaned.get("days_season") is None:
            self._say("days_season", "How many days before that day may it be done and count?")
        if cleaned.get("days_season") and cleaned.get("season") is None:
            self._say("season", "Choose the day of the year.")
        tolerance, early = cleaned.get("tolerance_percent"), cleaned.get("early_percent")
        if tolerance is not None and tolerance > 100:
            self._say("tolerance_percent", "A tolerance lies between 0 and 100 per cent.")
        if tolerance and cleaned.get("is_hard_limit"):
            self._say("tolerance_percent", "A limit set by law has no tolerance.")
        if early is not None and early >= 100:
            self._say("early_percent", "It may be done early by 0 to 99 per cent.")
        minutes = cleaned.get("labour_minutes")
        if minutes is not None and minutes > MOST_MINUTES:
            self._say("labour_minutes", "That is more than a week. Give minutes.")
        return cleaned

    def triggers(self) -> list[TriggerPlan]:
        """What makes it due, but after a service or by a value, in the order of the page."""
        data = self.cleaned_data
        plans = [
            TriggerPlan(measure, data[f"every_{measure}"], first_at=data[f"first_{measure}"])
            for measure in due.USE
            if data[f"every_{measure}"]
        ]
        plans += [
            TriggerPlan(measure, data[f"every_{measure}"])
            for measure in (due.DAYS, due.MONTHS)
            if data[f"every_{measure}"]
        ]
        if data["season"]:
            plans.append(TriggerPlan(due.SEASON, data["days_season"], season=data["season"]))
        for measure in (due.IDLE, due.JOB):
            if data[f"days_{measure}"]:
                plans.append(TriggerPlan(measure, data[f"days_{measure}"]))
        return plans

    def asked(self) -> dict[str, Any]:
        """What the version says beside its triggers and checks."""
        data = self.cleaned_data
        plain = (
            "rule", "is_hard_limit", "renews", "is_rebuild", "second_look", "condition_sign",
            "instructions", "skill", "source", "includes", "cautions", "only_rigs",
        )  # fmt: skip
        return {name: data[name] for name in plain} | {
            "tolerance_percent": data["tolerance_percent"] or Decimal(0),
            "early_percent": data["early_percent"] or Decimal(0),
            "labour_minutes": int(data["labour_minutes"] or 0),
        }

    def _say(self, name: str, words: str) -> None:
        if name not in self.errors:
            self.add_error(name, words)


class NewAskForm(AskForm):
    """The same of a service that is begun."""

    name = forms.CharField(label="Name", max_length=80, help_text="side seals, oil and filter")
    side = forms.ChoiceField(label="Side", choices=SIDES, required=False)
    field_order = ("name", "side")


class KindForm(SpokenForm):
    """The kind of component that a new service is for."""

    kind = KindField()


class CopyForm(SpokenForm):
    """What a copy of a service is called, and what it is for."""

    name = forms.CharField(label="Name of the copy", max_length=80)
    kind = KindField()
    side = forms.ChoiceField(label="Side", choices=SIDES, required=False)
    only_rigs = RigsField()


class CompareForm(SpokenForm):
    """Which two are compared: versions of one service, the library's default, other services."""

    left = forms.ChoiceField(label="This")
    right = forms.ChoiceField(label="against this")

    def __init__(
        self,
        *args: Any,
        own: list[tuple[str, str]],
        others: list[tuple[str, str]],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        groups = [("This service", own), ("Other services", others)]
        for field in self.fields.values():
            assert isinstance(field, forms.ChoiceField)
            field.choices = [group for group in groups if group[1]]
            field.error_messages["invalid_choice"] = "That is not there to be compared."


class ReasonForm(SpokenForm):
    """Why a service is retired."""

    reason = WhyField()


def told(version: ServiceVersion) -> dict[str, Any]:
    """What a version says, as `AskForm` shows it."""
    plain = (
        "rule", "tolerance_percent", "early_percent", "is_hard_limit", "renews", "is_rebuild",
        "second_look", "condition_sign", "instructions", "labour_minutes", "skill", "source",
    )  # fmt: skip
    given = {name: getattr(version, name) for name in plain}
    for trigger in version.triggers.all():
        if trigger.measure in (due.SEASON, due.IDLE, due.JOB):
            given[f"days_{trigger.measure}"] = trigger.interval
        elif trigger.measure not in (due.AFTER, due.VALUE):
            given[f"every_{trigger.measure}"] = trigger.interval
            given[f"first_{trigger.measure}"] = trigger.first_at
        if trigger.season_id:
            given["season"] = trigger.season_id
    return given | {
        "only_rigs": sorted(version.service.only_rigs.all(), key=lambda rig: rig.number),
        "includes": [service.pk for service in version.includes.all()],
        "cautions": [caution.pk for caution in version.cautions.all()],
        "seen": version.version,
    }
