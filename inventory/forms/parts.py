"""A part, what is in a kit, and when to buy."""

import re
from collections.abc import Mapping
from typing import Any

from django import forms

from inventory.forms.fields import (
    MoneyField,
    QuantityField,
    SentForm,
    SureForm,
    measure_of,
    part_field,
)
from inventory.models import Part, PartCode, StockPolicy
from inventory.quantities import QuantityRefused, to_money, to_steps, to_units
from inventory.services.catalog import MOST_MONTHS
from inventory.services.naming import quantity_of, slips
from inventory.shelf_life import FIRST_PERIOD_YEARS, RUBBERS, StorageGroup

#: What the address of a part can carry.
NUMBER = re.compile(r"[\w][\w .,+()-]*")
#: One word, so that a quantity in it reads as one.
PACK_NAME = re.compile(r"[^\W\d_][\w-]{0,19}")
STEPS = [
    ("1", "whole: 1, 2, 3"),
    ("4", "quarters: 0.25"),
    ("10", "tenths: 0.1"),
    ("100", "hundredths: 0.01"),
]
UNITS = ["piece", "set", "gal", "qt", "oz", "lb", "ft", "in"]


def _group_in_words(group: StorageGroup) -> str:
    years = FIRST_PERIOD_YEARS[group]
    return f"group {group}, keeps {years} years: {', '.join(RUBBERS[group])}"


class PartForm(SentForm):
    """A new part, or another name, category or cost for one."""

    number = forms.CharField(label="Part number", max_length=40)
    name = forms.CharField(label="Name", max_length=120)
    category = forms.CharField(
        label="Category",
        max_length=40,
        required=False,
        help_text="A word to find it by, such as seals or filters.",
    )
    is_kit = forms.BooleanField(
        label="This is a kit",
        required=False,
        help_text="A kit lies on the shelf whole and is made of other parts.",
    )
    unit_name = forms.CharField(
        label="Unit",
        max_length=20,
        help_text=f"What one is called: {', '.join(UNITS[:5])}.",
    )
    steps_per_unit = forms.ChoiceField(
        label="Counted in", choices=STEPS, help_text="Fixed once the part has moved."
    )
    usual_cost_cents = MoneyField(
        label="Usual cost of one",
        required=False,
        help_text="Used until the first receipt says what it really cost.",
    )
    storage_group = forms.ChoiceField(
        label="Rubber",
        required=False,
        choices=[
            ("", "not rubber, or it keeps"),
            *((group.value, _group_in_words(group)) for group in StorageGroup),
        ],
        help_text="Groups of ISO 2230, from the cure date. The maker’s word goes first.",
    )
    keeps_months = forms.IntegerField(
        label="Or keeps for, months",
        required=False,
        min_value=0,
        max_value=MOST_MONTHS,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        help_text="Resin, sealant, grease: from the day it was made. Empty: it keeps.",
    )
    packs = forms.CharField(
        label="Packs",
        required=False,
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="One on a line, with what it holds: pail 5. Quantities may then be given in it.",
    )
    codes = forms.CharField(
        label="Makers’ codes",
        required=False,
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="What a scanner reads on its package, one on a line.",
    )
    notes = forms.CharField(
        label="Notes", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 3})
    )
    superseded_by = forms.CharField(
        label="Bought in its place now",
        max_length=40,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        help_text="A part number. What is left of this part is still used, and first.",
    )
    retired = forms.BooleanField(
        label="Retired: not bought any more", required=False, help_text="It keeps its ledger."
    )

    def __init__(self, *args: Any, part: Part | None = None, **kwargs: Any) -> None:
        self.part = part
        #: Known once the form is clean: what each pack holds by its name [steps]; makers' codes.
        self.pack_steps: dict[str, int] = {}
        self.code_list: list[str] = []
        if part is not None:
            kwargs.setdefault("initial", self._shown(part))
        else:
            kwargs.setdefault("initial", {"unit_name": "piece", "steps_per_unit": "1"})
        super().__init__(*args, **kwargs)
        if part is None:
            del self.fields["retired"], self.fields["superseded_by"]
            return
        steps = self.fields["steps_per_unit"]
        assert isinstance(steps, forms.ChoiceField)
        if str(part.steps_per_unit) not in dict(STEPS):
            step = to_units(1, part.steps_per_unit)
            steps.choices = [*STEPS, (str(part.steps_per_unit), f"steps of {step:f}")]
        if part.movements.exists():
            # A field that cannot change anything any more is not offered; it says why instead.
            for name in ("is_kit", "unit_name", "steps_per_unit"):
                self.fields[name].disabled = True
            self.fields["unit_name"].help_text = "Fixed, since the part has moved."

    @staticmethod
    def _shown(part: Part) -> dict[str, Any]:
        return {
            "number": part.number,
            "name": part.name,
            "category": part.category,
            "is_kit": part.is_kit,
            "unit_name": part.unit_name,
            "steps_per_unit": str(part.steps_per_unit),
            "usual_cost_cents": f"{to_money(part.usual_cost_cents):f}",
            "storage_group": part.storage_group,
            "keeps_months": part.keeps_months or None,
            "packs": "\n".join(
                f"{pack.name} {to_units(pack.quantity_steps, part.steps_per_unit).normalize():f}"
                for pack in part.packs.all()
            ),
            "codes": "\n".join(part.codes.order_by("pk").values_list("code", flat=True)),
            "notes": part.notes,
            "superseded_by": part.superseded_by.number if part.superseded_by else "",
            "retired": part.retired,
        }

    def clean_number(self) -> str:
        number: str = self.cleaned_data["number"].strip()
        if not NUMBER.fullmatch(number) or number.casefold() == "new":
            raise forms.ValidationError(
                "Use letters, digits, spaces and . , + - ( ), beginning with a letter or digit."
            )
        taken = Part.objects.filter(number__iexact=number)
        if self.part is not None:
            taken = taken.exclude(pk=self.part.pk)
        if other := taken.first():
            raise forms.ValidationError(f"That number is taken: {other.number} {other.name}.")
        return number

    def clean_superseded_by(self) -> Part | None:
        number: str = self.cleaned_data["superseded_by"]
        if not number:
            return None
        successor = Part.objects.filter(number__iexact=number).first()
        if successor is None:
            raise forms.ValidationError(f"There is no part {number}.")
        return successor

    def clean_usual_cost_cents(self) -> int:
        cents = self.cleaned_data["usual_cost_cents"]
        return 0 if cents is None else int(cents)

    def clean_keeps_months(self) -> int:
        return self.cleaned_data["keeps_months"] or 0

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("is_kit") and cleaned.get("steps_per_unit", "1") != "1":
            self.add_error("steps_per_unit", "Kits come whole.")
        if "steps_per_unit" in cleaned:
            self._read_packs(cleaned)
        return cleaned

    def _read_packs(self, cleaned: dict[str, Any]) -> None:
        """Packs as name → steps, each refused in words on its own."""
        found: dict[str, int] = {}
        for line in filter(None, (each.strip() for each in cleaned.get("packs", "").splitlines())):
            name, _, holds = line.rpartition(" ")
            name = name.strip()
            if not PACK_NAME.fullmatch(name) or name.casefold() in map(str.casefold, found):
                self.add_error("packs", f"“{line[:40]}”: write one word and what it holds: pail 5.")
                return
            if name.casefold() == cleaned.get("unit_name", "").casefold():
                self.add_error("packs", f"{name} is the unit already.")
                return
            try:
                found[name] = to_steps(holds, steps_per_unit=int(cleaned["steps_per_unit"]))
            except QuantityRefused as refused:
                self.add_error("packs", f"{name}: {refused}")
                return
            if not found[name]:
                self.add_error("packs", f"{name}: a pack holds more than nothing.")
                return
        self.pack_steps = found

    def clean_codes(self) -> str:
        text: str = self.cleaned_data["codes"]
        codes = list(dict.fromkeys(filter(None, (line.strip() for line in text.splitlines()))))
        if long := [code for code in codes if len(code) > 120]:
            raise forms.ValidationError(f"{long[0][:40]}… is longer than 120 letters.")
        taken = PartCode.objects.filter(code__in=codes).exclude(part=self.part)
        if other := taken.select_related("part").first():
            raise forms.ValidationError(f"{other.code} is the code of {other.part} already.")
        self.code_list = codes
        return text

    def values(self) -> dict[str, Any]:
        """What the services take."""
        apart = ("request_id", "packs", "codes")
        values = {name: value for name, value in self.cleaned_data.items() if name not in apart}
        values["steps_per_unit"] = int(values["steps_per_unit"])
        return values


class PolicyForm(SureForm):
    """When to buy a part, up to how much, and why so."""

    reason = forms.CharField(
        label="Why",
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Whoever reads it next year will want to know.",
    )
    review_on = forms.DateField(
        label="Look at it again on",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        help_text="From that day on the buying list says that it is to be looked at.",
    )
    field_order = ("reorder_point_steps", "order_up_to_steps", "reason", "review_on", "sure")

    def __init__(
        self, *args: Any, part: Part, policy: StockPolicy | None = None, **kwargs: Any
    ) -> None:
        if policy is not None:
            kwargs.setdefault(
                "initial",
                {
                    name: f"{to_units(getattr(policy, name), part.steps_per_unit):f}"
                    for name in ("reorder_point_steps", "order_up_to_steps")
                }
                | {
                    "reason": policy.reason,
                    "review_on": policy.review_on,
                },
            )
        super().__init__(*args, **kwargs)
        self.part = part
        #: What was set before, and is not asked about again. [steps]
        self.before_steps = policy.order_up_to_steps if policy else 0
        unit = measure_of(part)
        self.fields["reorder_point_steps"] = QuantityField(
            label="Buy when this much is left", zero=True, **unit
        )
        self.fields["order_up_to_steps"] = QuantityField(
            label="Buy up to", zero=True, help_text="At least the reorder point.", **unit
        )
        self.order_fields(self.field_order)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        point, up_to = cleaned.get("reorder_point_steps"), cleaned.get("order_up_to_steps")
        if point is not None and up_to is not None and up_to < point:
            self.add_error("order_up_to_steps", "Order up to at least the reorder point.")
        elif up_to is not None:
            self.ask(slips([(self.part, up_to)], usual={self.part.pk: self.before_steps}))
        return cleaned


class KitLineForm(forms.Form):
    """One line of a kit: so much of a part; an empty one counts for nothing."""

    number = part_field(required=False)
    quantity = forms.CharField(
        label="Quantity",
        max_length=40,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    remove = forms.BooleanField(label="Take out", required=False)

    def __init__(self, *args: Any, parts: Mapping[str, Part], **kwargs: Any) -> None:
        """parts: every part a line may name, by what names it (`naming.KnownParts`)."""
        super().__init__(*args, **kwargs)
        self.parts = parts
        #: Known once the form is clean, where the line holds something.
        self.part: Part | None = None
        self.quantity_steps = 0

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        number, quantity = cleaned.get("number", ""), cleaned.get("quantity", "")
        if cleaned.get("remove") or not (number or quantity):
            return cleaned
        if not number:
            self.add_error("number", "Which part?")
            return cleaned
        part = self.parts.get(number)
        if part is None:
            self.add_error("number", f"There is no part {number}.")
            return cleaned
        try:
            steps = quantity_of(part, quantity)
        except QuantityRefused as refused:
            self.add_error("quantity", str(refused))
            return cleaned
        if not steps:
            self.add_error("quantity", "Give a quantity above zero.")
            return cleaned
        self.part, self.quantity_steps = part, steps
        return cleaned


class BaseKitLines(forms.BaseFormSet):
    """All lines of a kit. A part stands in it once."""

    def clean(self) -> None:
        seen: dict[int, KitLineForm] = {}
        for form in self.forms:
            if form.part is None:
                continue
            if form.part.pk in seen:
                form.add_error("number", f"{form.part.number} stands in the kit once: add it up.")
            seen[form.part.pk] = form


KitLines = forms.formset_factory(
    KitLineForm, formset=BaseKitLines, extra=0, max_num=200, absolute_max=200
)

__all__ = ["KitLineForm", "KitLines", "PartForm", "PolicyForm"]
