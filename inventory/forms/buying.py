"""Suppliers, how they sell a part, and old parts that go back to them."""

from typing import Any

from django import forms

from inventory.forms.fields import MoneyField, SentForm
from inventory.models import Part, Supplier, SupplierPart
from inventory.pack_prices import MOST_PACKS, PackPrice
from inventory.quantities import QuantityRefused, to_money, to_units
from inventory.services.buying import Terms
from inventory.services.naming import quantity_of

MOST_REVIEW_DAYS = 365
MOST_LEAD_DAYS = 730

NUMERIC = {"inputmode": "numeric", "autocomplete": "off"}


class WholeField(forms.IntegerField):
    """A whole number typed as text; a numeric input would drop what it refuses."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.TextInput(attrs=NUMERIC))
        least, most = kwargs["min_value"], kwargs["max_value"]
        kwargs.setdefault(
            "error_messages",
            {
                "invalid": "Give a whole number.",
                "min_value": "This cannot be below zero." if not least else "One is the least.",
                "max_value": f"That is more than {most:,}. Check the number.",
            },
        )
        super().__init__(**kwargs)


class SupplierForm(SentForm):
    """Somebody we buy from."""

    name = forms.CharField(label="Name", max_length=120)
    contact = forms.CharField(
        label="How to reach them",
        required=False,
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Telephone, address, whom to ask for. It stands on the order.",
    )
    our_account = forms.CharField(label="Our account with them", required=False, max_length=60)
    review_days = WholeField(
        label="We order every so many days",
        required=False,
        min_value=0,
        max_value=MOST_REVIEW_DAYS,
        help_text="14: an order every two weeks. Empty: whenever something is needed.",
    )
    least_order_cents = MoneyField(
        label="Least order",
        required=False,
        help_text="What an order has to come to. Empty: they take any.",
    )
    retired = forms.BooleanField(
        label="Retired: nothing is ordered there any more",
        required=False,
        help_text="What is under way still comes, and its history stays.",
    )

    def __init__(self, *args: Any, supplier: Supplier | None = None, **kwargs: Any) -> None:
        self.supplier = supplier
        if supplier is not None:
            least = supplier.least_order_cents
            kwargs.setdefault(
                "initial",
                {
                    "name": supplier.name,
                    "contact": supplier.contact,
                    "our_account": supplier.our_account,
                    "review_days": supplier.review_days or None,
                    "least_order_cents": f"{to_money(least):f}" if least else "",
                    "retired": supplier.retired,
                },
            )
        super().__init__(*args, **kwargs)
        if supplier is None:
            del self.fields["retired"]

    def clean_name(self) -> str:
        name: str = self.cleaned_data["name"].strip()
        taken = Supplier.objects.filter(name__iexact=name)
        if self.supplier is not None:
            taken = taken.exclude(pk=self.supplier.pk)
        if other := taken.first():
            raise forms.ValidationError(f"There is a supplier {other.name} already.")
        return name

    def values(self) -> dict[str, Any]:
        """What the services take."""
        values = {k: v for k, v in self.cleaned_data.items() if k != "request_id"}
        return values | {
            "review_days": values["review_days"] or 0,
            "least_order_cents": values["least_order_cents"] or 0,
        }


class SupplierPartForm(SentForm):
    """How a supplier sells a part; its prices are the rows beneath (`Prices`)."""

    supplier = forms.ModelChoiceField(
        label="Supplier",
        queryset=Supplier.objects.filter(retired=False).order_by("name"),
        empty_label="Choose a supplier",
        error_messages={"invalid_choice": "That supplier is not in use."},
    )
    part = forms.CharField(
        label="Part number",
        max_length=40,
        widget=forms.TextInput(attrs={"list": "part-numbers", "autocomplete": "off"}),
    )
    their_number = forms.CharField(
        label="Their number for it",
        max_length=60,
        required=False,
        help_text="It stands on the order beside ours.",
    )
    pack = forms.CharField(
        label="One pack holds",
        max_length=40,
        initial="1",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        help_text="In the part’s unit or its packs: 10, 5 gal, 1 pail. Sold one by one: 1.",
    )
    least_packs = WholeField(
        label="Least number of packs", initial=1, min_value=1, max_value=MOST_PACKS
    )
    lead_time_days = WholeField(
        label="They say it takes, days",
        initial=7,
        min_value=0,
        max_value=MOST_LEAD_DAYS,
        help_text="What it really takes is learnt from what comes.",
    )
    core_cents = MoneyField(
        label="Credit for an old part",
        required=False,
        help_text="What they pay for each old one sent back. Empty: none is owed.",
    )
    preferred = forms.BooleanField(
        label="We buy it here first",
        required=False,
        help_text="Of several suppliers one is the first. This takes it from the other.",
    )

    def __init__(self, *args: Any, sold: SupplierPart | None = None, **kwargs: Any) -> None:
        """sold: what is changed; the supplier and the part then stay what they are."""
        self.sold = sold
        #: Known once the form is clean.
        self.found_part: Part | None = sold.part if sold else None
        self.pack_steps = 0
        if sold is not None:
            kwargs.setdefault("initial", self._shown(sold))
        super().__init__(*args, **kwargs)
        if sold is not None:
            del self.fields["supplier"], self.fields["part"]

    @staticmethod
    def _shown(sold: SupplierPart) -> dict[str, Any]:
        return {
            "their_number": sold.their_number,
            "pack": f"{to_units(sold.pack_steps, sold.part.steps_per_unit):f}",
            "least_packs": sold.least_packs,
            "lead_time_days": sold.lead_time_days,
            "core_cents": f"{to_money(sold.core_cents):f}" if sold.core_cents else "",
            "preferred": sold.preferred,
        }

    def clean_part(self) -> str:
        number: str = self.cleaned_data["part"].strip()
        part = Part.objects.filter(number__iexact=number).first()
        if part is None:
            raise forms.ValidationError(f"There is no part {number}.")
        if part.retired:
            raise forms.ValidationError(f"{part} is retired: it is not bought any more.")
        self.found_part = part
        return number

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        part, supplier = self.found_part, cleaned.get("supplier")
        if part is None:
            return cleaned
        if (
            self.sold is None
            and supplier
            and SupplierPart.objects.filter(supplier=supplier, part=part).exists()
        ):
            self.add_error("part", f"{supplier} sells {part} already. Change it there.")
        if "pack" in cleaned:
            self._read_pack(part, cleaned["pack"])
        return cleaned

    def _read_pack(self, part: Part, text: str) -> None:
        """What a pack holds, as a person writes it in the part's unit or packs."""
        try:
            self.pack_steps = quantity_of(part, text)
        except QuantityRefused as refused:
            self.add_error("pack", str(refused))
        else:
            if not self.pack_steps:
                self.add_error("pack", "A pack holds more than nothing.")

    def terms(self, prices: tuple[PackPrice, ...]) -> Terms:
        """What the service takes, of a clean form."""
        cleaned = self.cleaned_data
        return Terms(
            pack_steps=self.pack_steps,
            least_packs=cleaned["least_packs"],
            lead_time_days=cleaned["lead_time_days"],
            core_cents=cleaned["core_cents"] or 0,
            their_number=cleaned["their_number"],
            preferred=cleaned["preferred"],
            prices=prices,
        )


class PriceForm(forms.Form):
    """From so many packs on, one costs so much; an empty row counts for nothing."""

    from_packs = WholeField(label="From packs", required=False, min_value=1, max_value=MOST_PACKS)
    price = MoneyField(label="Price of a pack", required=False)

    #: Known once the row is clean and holds something.
    found: PackPrice | None = None

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if self.errors:
            return cleaned
        start, price = cleaned.get("from_packs"), cleaned.get("price")
        if start is None and price is not None:
            self.add_error("from_packs", "From how many packs on?")
        elif price is None and start is not None:
            self.add_error("price", "What does a pack cost then?")
        elif start is not None and price is not None:
            self.found = PackPrice(start, price)
        return cleaned


class BasePrices(forms.BaseFormSet):
    """All prices of a part at a supplier. Each number of packs stands once."""

    def clean(self) -> None:
        seen: set[int] = set()
        for form in self.forms:
            if form.found is None:
                continue
            if form.found.from_packs in seen:
                form.add_error("from_packs", "There is a price from this number on already.")
            seen.add(form.found.from_packs)

    def prices(self) -> tuple[PackPrice, ...]:
        """Of clean rows, in order."""
        found = [form.found for form in self.forms if form.found is not None]
        return tuple(sorted(found, key=lambda each: each.from_packs))


Prices = forms.formset_factory(PriceForm, formset=BasePrices, extra=0, max_num=50, absolute_max=50)

__all__ = ["PriceForm", "Prices", "SupplierForm", "SupplierPartForm"]
