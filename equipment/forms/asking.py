"""The rows of a service's form: its checks, what it follows, what it watches."""

import re
from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any, Final

from django import forms
from django.http import QueryDict

from equipment import due, values
from equipment.forms.fields import NEEDED, NumberField
from equipment.hoses import PLACEHOLDER
from equipment.models import Check, ComponentKind, Service, ServiceVersion
from equipment.services import CheckPlan, TriggerPlan

#: At most so many rows, and how many one press of "more" adds.
MOST_ROWS: Final = 60
MORE_ROWS: Final = 3
CHOICES_AT_LEAST: Final = 2
LONGEST_CHOICE: Final = 60


class RowForm(forms.Form):
    """One row; an empty one is none."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("use_required_attribute", False)
        super().__init__(*args, **kwargs)

    @property
    def is_row(self) -> bool:
        """Whether something of its own stands in it, and it is not taken out."""
        return bool(self.cleaned_data.get("is_one"))

    def say(self, name: str, words: str) -> None:
        """Put what is wrong beside a field, unless something stands there already."""
        if name not in self.errors:
            self.add_error(name, words)


class LimitField(NumberField):
    """The limit of a measured value: a number or, in ISO 4406, a code like 20/18/15.

    Cleans to a Decimal as values are kept; which was meant, `refuse_limits` asks with the unit.
    """

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(signed=True, places=values.PLACES, **kwargs)
        # A keypad of figures has no stroke.
        self.widget.attrs["inputmode"] = "text"

    def clean(self, value: Any) -> Any:
        if "/" not in (value or ""):
            return super().clean(value)
        try:
            return Code(values.typed(value, values.ISO_4406) or 0)
        except values.NotAValue as refused:
            raise forms.ValidationError(str(refused)) from refused


class Code(Decimal):
    """A limit that was typed as a code."""


def refuse_limits(form: RowForm, unit: str, *, names: tuple[str, str] = ("low", "high")) -> None:
    """Say beside the limits of a row what is wrong with them in the unit of its value."""
    low, high = (form.cleaned_data.get(name) for name in names)
    for name, limit in zip(names, (low, high), strict=True):
        if isinstance(limit, Code) and not values.is_code(unit):
            form.say(name, f"A code is a limit of values in {values.ISO_4406} only.")
        elif limit is not None and values.is_code(unit) and not isinstance(limit, Code):
            form.say(name, "Write the limit of a code like 20/18/15.")
    if wrong := values.unsound_code_limits(low, high, unit):
        form.say(names[0] if low is not None else names[1], wrong)


class CheckForm(RowForm):
    """One check of the sheet."""

    text = forms.CharField(label="What is checked", max_length=200, required=False)
    kind = forms.ChoiceField(
        label="How it is answered", choices=Check.Kind.choices, initial=Check.Kind.TICK
    )
    place = NumberField(label="Place", places=0, required=False)
    unit = forms.CharField(
        label="Unit",
        max_length=20,
        required=False,
        widget=forms.TextInput(attrs={"list": "units", "autocomplete": "off"}),
    )
    low = LimitField(label="At least", required=False)
    high = LimitField(label="At most", required=False)
    choices = forms.CharField(
        label="Choices, one on each line",
        required=False,
        max_length=1_000,
        # A space, so that the page knows whether something stands in it.
        widget=forms.Textarea(attrs={"rows": 3, "placeholder": " "}),
    )
    hint = forms.CharField(
        label="Hint",
        max_length=200,
        required=False,
        help_text=f"Where you write {PLACEHOLDER}, the sheet says what the hoses of its rig hold.",
    )
    needs_electrician = forms.BooleanField(label="For a licensed electrician", required=False)
    opens = forms.MultipleChoiceField(
        label="It opens, so that its pressure must read zero before",
        choices=Check.Opens.choices,
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    is_run = forms.BooleanField(label="The rig runs for it", required=False)
    remove = forms.BooleanField(label="Take it out", required=False)

    #: What stands in the fold of a row.
    FOLDED: Final = (
        "unit", "low", "high", "choices", "hint", "needs_electrician", "opens", "is_run",
    )  # fmt: skip

    @property
    def is_open(self) -> bool:
        """Whether the fold stands open: something stands in it, or is wrong with it."""
        return any(self[name].value() or self[name].errors for name in self.FOLDED)

    def clean_choices(self) -> list[str]:
        lines = [line.strip() for line in self.cleaned_data["choices"].splitlines()]
        if any(len(line) > LONGEST_CHOICE for line in lines):
            raise forms.ValidationError(f"A choice has at most {LONGEST_CHOICE} characters.")
        return [line for line in lines if line]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        given = [data.get(name) for name in (*self.FOLDED, "text")]
        data["is_one"] = not data.get("remove") and any(
            each not in (None, "", [], False) for each in given
        )
        if not data["is_one"]:
            # A row that is taken out is not asked about.
            self.errors.clear()
            return data
        if not data.get("text"):
            self.say("text", "Say what is checked, or take the row out.")
        low, high, kind = data.get("low"), data.get("high"), data.get("kind")
        if kind != Check.Kind.VALUE and (low is not None or high is not None):
            self.say("kind", "Only a measured value has limits.")
        if low is not None and high is not None and high < low:
            self.say("high", "The upper limit lies below the lower.")
        if kind == Check.Kind.VALUE:
            refuse_limits(self, data.get("unit", ""))
        if data.get("is_run") and data.get("opens"):
            self.say("is_run", "Nothing is opened while the rig runs.")
        choices = data.get("choices") or []
        if kind == Check.Kind.CHOICE and len(choices) < CHOICES_AT_LEAST:
            self.say("choices", "Give at least two choices.")
        if kind != Check.Kind.CHOICE and choices:
            self.say("kind", "These choices want “choose one”.")
        return data

    def plan(self) -> CheckPlan:
        data = self.cleaned_data
        return CheckPlan(
            text=data["text"],
            kind=data["kind"],
            hint=data["hint"],
            choices=tuple(data["choices"]),
            unit=data["unit"],
            low=data["low"],
            high=data["high"],
            needs_electrician=data["needs_electrician"],
            opens=tuple(data["opens"]),
            is_run=data["is_run"],
        )


class AfterField(forms.ModelChoiceField):
    """Any service, with the kind it belongs to."""

    def label_from_instance(self, obj: Service) -> str:
        return f"{obj.kind}{f' {obj.side}' if obj.side else ''}: {obj.name}"


class AfterForm(RowForm):
    """Due so many days after another service."""

    after = AfterField(
        label="After this service", queryset=Service.objects.none(), required=False,
        empty_label="none",
    )  # fmt: skip
    days = NumberField(label="Days after", places=0, zero=False, required=False)

    def __init__(self, *args: Any, others: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["after"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = others

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        after, days = data.get("after"), data.get("days")
        data["is_one"] = after is not None or days is not None
        if after is not None and days is None:
            self.say("days", str(NEEDED))
        if days is not None and after is None:
            self.say("after", "Choose the service.")
        return data

    def plan(self) -> TriggerPlan:
        data = self.cleaned_data
        return TriggerPlan(due.AFTER, data["days"], after=data["after"])


class ValueForm(RowForm):
    """Due when a measured value is past its limit, or will soon be."""

    watched = forms.CharField(
        label="When this measured value",
        max_length=200,
        required=False,
        widget=forms.TextInput(attrs={"list": "measured", "autocomplete": "off"}),
    )
    low = LimitField(label="Is below", required=False)
    high = LimitField(label="Is over", required=False)
    days = NumberField(label="Or days before it will be", places=0, zero=False, required=False)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        low, high = data.get("low"), data.get("high")
        given = (data.get("watched"), low, high, data.get("days"))
        data["is_one"] = any(each not in (None, "") for each in given)
        if not data["is_one"]:
            return data
        if not data.get("watched"):
            self.say("watched", "Name what is measured, as the check of a sheet does.")
        if low is None and high is None:
            self.say("high", "Give a limit: over, below, or both.")
        if low is not None and high is not None and high < low:
            self.say("high", "The upper limit lies below the lower.")
        if data.get("days") is None:
            self.say("days", str(NEEDED))
        return data

    def plan(self) -> TriggerPlan:
        data = self.cleaned_data
        return TriggerPlan(
            due.VALUE, data["days"], watched=data["watched"], low=data["low"], high=data["high"]
        )


class Rows(forms.BaseFormSet):
    """Rows of one kind on the page of a service."""

    @property
    def given(self) -> list[Any]:
        """The rows in which something stands."""
        return [form for form in self.forms if form.is_valid() and form.is_row]


#: The form of a row, and how many blank ones a page shows at least.
KINDS_OF_ROWS: Final[dict[str, tuple[type[RowForm], int]]] = {
    "checks": (CheckForm, MORE_ROWS),
    "after": (AfterForm, 1),
    "values": (ValueForm, 1),
}


def rows(
    name: str, *, data: QueryDict | None = None, initial: Any = None, blank: int = 0, **about: Any
) -> Any:
    """The rows of one name: bound to what was sent, or what they begin with and blank ones."""
    form, _ = KINDS_OF_ROWS[name]
    made = forms.formset_factory(
        form, formset=Rows, extra=blank, max_num=MOST_ROWS, absolute_max=MOST_ROWS
    )
    return made(data, initial=initial, prefix=name, form_kwargs=about)


def blank_rows(name: str, sent: QueryDict, full: int, *, more: bool) -> int:
    """How many blank rows a page shows below the full ones: those it had, and more if asked for."""
    total = sent.get(f"{name}-TOTAL_FORMS", "")
    had = int(total) - full if re.fullmatch(r"[0-9]{1,3}", total) else 0
    return max(KINDS_OF_ROWS[name][1], had) + (MORE_ROWS if more else 0)


def typed_rows(name: str, data: QueryDict) -> list[dict[str, Any]]:
    """What was typed into rows so far, for a page with more of them."""
    form, _ = KINDS_OF_ROWS[name]
    found = []
    for n in range(MOST_ROWS):
        row = {
            field: form.base_fields[field].widget.value_from_datadict(
                data, {}, f"{name}-{n}-{field}"
            )
            for field in form.base_fields
        }
        # How a check is answered and its place are never empty, and say nothing alone.
        if any(value for field, value in row.items() if field not in ("kind", "place")):
            found.append({field: "" if value is None else value for field, value in row.items()})
    return found


def typed_form(form: type[forms.Form], data: QueryDict) -> dict[str, Any]:
    """What was typed into a form so far, as it stands."""
    return {
        name: field.widget.value_from_datadict(data, {}, name)
        for name, field in form.base_fields.items()
    }


def told_rows(
    version: ServiceVersion | None, *, units: Mapping[str, str]
) -> dict[str, list[dict[str, Any]]]:
    """The rows of a version, as the page shows them. units: of what is measured, by its name."""
    if version is None:
        return {name: [] for name in KINDS_OF_ROWS}
    checks = [
        {
            "text": each.text,
            "kind": each.kind,
            "place": str(place),
            "unit": each.unit,
            "low": _limit(each.low, each.unit),
            "high": _limit(each.high, each.unit),
            "choices": "\n".join(each.choices),
            "hint": each.hint,
            "needs_electrician": each.needs_electrician,
            "opens": each.opens,
            "is_run": each.is_run,
        }
        for place, each in enumerate(sorted(version.checks.all(), key=lambda each: each.order), 1)
    ]
    triggers = sorted(version.triggers.all(), key=lambda each: each.pk)
    return {
        "checks": checks,
        "after": [
            {"after": each.after_id, "days": each.interval}
            for each in triggers
            if each.measure == due.AFTER
        ],
        "values": [
            {
                "watched": each.watched,
                "low": _limit(each.low, units.get(each.watched, "")),
                "high": _limit(each.high, units.get(each.watched, "")),
                "days": each.interval,
            }
            for each in triggers
            if each.measure == due.VALUE
        ],
    }


def _limit(limit: Decimal | None, unit: str) -> str:
    """A kept limit as a page shows it to be changed."""
    return "" if limit is None else values.retyped(limit, unit)


def in_order(given: Iterable[CheckForm]) -> list[CheckPlan]:
    """The checks by the places typed; of two at one place the one that was moved there first.

    Those without a place come last.
    """

    def key(row: tuple[int, CheckForm]) -> tuple[int, bool, int]:
        n, form = row
        place = form.cleaned_data.get("place")
        return (MOST_ROWS + 1 if place is None else int(place), place == n, n)

    return [form.plan() for _, form in sorted(enumerate(given, 1), key=key)]


def others_of(kind: ComponentKind, service: Service | None) -> Any:
    """The services that one of this kind may follow: its own kind's first."""
    found = Service.objects.filter(is_retired=False).select_related("kind")
    if service is not None:
        found = found.exclude(pk=service.pk)
    return found.order_by("kind__flow_order", "kind__name", "name", "side")
