"""Lists of the stock pages. Each says its figures in the part's own unit."""

from typing import Any

import django_tables2 as tables
from django.db.models import F, QuerySet
from django.urls import reverse
from django.utils.html import format_html

from inventory.models import Location, Part
from inventory.quantities import format_money, to_units
from inventory.sentences import suggested_steps

#: Cells that stand on the first line of a row on a phone.
FIRST = {"td": {"class": "first"}}
FIRST_GROWS = {"td": {"class": "first grow"}}
LINE = {"td": {"class": "first line"}}
NUM = {"th": {"class": "num"}, "td": {"class": "num"}}

#: A figure, and under it what is wrong with it.
BESIDE = '{}<small><span class="oxide">{}</span></small>'


def units(part: Part, steps: int) -> str:
    """A quantity in a column of figures: the unit stands beside it unless it is a piece."""
    figure = f"{to_units(abs(steps), part.steps_per_unit):,f}"
    figure = f"−{figure}" if steps < 0 else figure
    return figure if part.unit_name == "piece" else f"{figure} {part.unit_name}"


def with_expired(part: Part) -> str:
    """What is on hand of a part, and under it how much of that has expired."""
    figure = units(part, part.on_hand_steps)  # type: ignore[attr-defined]
    expired = part.expired_steps
    return format_html(BESIDE, figure, f"{units(part, expired)} expired") if expired else figure


class StepsColumn(tables.Column):
    """Whole steps of each row's part, sorted by the quantity in its unit."""

    def __init__(self, *, blank_zero: bool = False, **kwargs: Any) -> None:
        self.blank_zero = blank_zero
        super().__init__(attrs=NUM, **kwargs)

    def render(self, value: int, record: Part) -> str:
        return "" if self.blank_zero and not value else units(record, value)

    def order(self, queryset: QuerySet[Part], is_descending: bool) -> tuple[QuerySet[Part], bool]:
        name = self.accessor.replace(".", "__")
        # Thousandths of a unit, so that 50 steps of 0.01 gal sort below 2 pieces.
        queryset = queryset.annotate(_by=F(name) * 1000 / F("steps_per_unit"))
        return queryset.order_by("-_by" if is_descending else "_by", "number"), True


class PartTable(tables.Table):
    """Everything the shop stocks."""

    number = tables.Column(verbose_name="Part", attrs=FIRST_GROWS)
    name = tables.Column(attrs=LINE)
    on_hand = StepsColumn(accessor="on_hand_steps", verbose_name="On hand")
    reserved = StepsColumn(accessor="reserved_steps", verbose_name="Reserved", blank_zero=True)
    available = StepsColumn(accessor="available_steps", verbose_name="Available")
    drawers = StepsColumn(accessor="in_drawers_steps", verbose_name="In drawers", blank_zero=True)
    point = tables.Column(
        accessor="reorder_point_steps", verbose_name="Reorder point", attrs=NUM, empty_values=()
    )
    value = tables.Column(
        accessor="value_cents", verbose_name="Value", attrs=NUM, order_by=("value_cents", "number")
    )

    class Meta:
        attrs = {"class": "table table-stack ledger brief", "aria-label": "Parts"}
        order_by = "number"

    def __init__(self, *args: Any, symbol: str, **kwargs: Any) -> None:
        self.symbol = symbol
        super().__init__(*args, **kwargs)

    def render_number(self, value: str, record: Part) -> str:
        return format_html(
            '<a class="value nobreak" href="{}">{}</a>',
            reverse("inventory:part", args=[record.number]),
            value,
        )

    def render_name(self, value: str, record: Part) -> str:
        notes = [
            word for word, holds in (("kit", record.is_kit), ("retired", record.retired)) if holds
        ]
        if record.category:
            notes.append(record.category)
        if not notes:
            return value
        return format_html("{}<small>{}</small>", value, ", ".join(notes))

    def order_name(
        self, queryset: QuerySet[Part], is_descending: bool
    ) -> tuple[QuerySet[Part], bool]:
        sign = "-" if is_descending else ""
        return queryset.order_by(f"{sign}name", "number"), True

    def render_on_hand(self, record: Part) -> str:
        figure = with_expired(record)
        if is_at_point(record):
            return format_html(BESIDE, figure, "at reorder point")
        return figure

    def render_point(self, record: Part) -> str:
        if not record.order_up_to_steps:  # type: ignore[attr-defined]
            return ""
        return units(record, record.reorder_point_steps)  # type: ignore[attr-defined]

    def order_point(
        self, queryset: QuerySet[Part], is_descending: bool
    ) -> tuple[QuerySet[Part], bool]:
        queryset = queryset.annotate(_by=F("reorder_point_steps") * 1000 / F("steps_per_unit"))
        return queryset.order_by("-_by" if is_descending else "_by", "number"), True

    def render_value(self, value: int) -> str:
        return format_money(value, self.symbol) if value else ""


def is_at_point(part: Part) -> bool:
    """A part in use whose stock in the bins fell to its reorder point (from `for_parts_list`)."""
    point, up_to = part.reorder_point_steps, part.order_up_to_steps  # type: ignore[attr-defined]
    here = part.usable_steps  # type: ignore[attr-defined]
    return bool(not part.retired and up_to and here <= point)


class BuyingTable(tables.Table):
    """What has fallen to its reorder point."""

    number = tables.Column(verbose_name="Part", attrs=FIRST_GROWS)
    name = tables.Column(attrs=LINE)
    on_hand = StepsColumn(accessor="on_hand_steps", verbose_name="On hand")
    reserved = StepsColumn(accessor="reserved_steps", verbose_name="Reserved", blank_zero=True)
    on_order = StepsColumn(accessor="on_order_steps", verbose_name="On order", blank_zero=True)
    point = StepsColumn(accessor="reorder_point_steps", verbose_name="Reorder point")
    up_to = StepsColumn(accessor="order_up_to_steps", verbose_name="Buy up to")
    suggested = tables.Column(empty_values=(), verbose_name="Buy", attrs=NUM, orderable=False)
    cost = tables.Column(empty_values=(), verbose_name="Usually costs", attrs=NUM, orderable=False)

    class Meta:
        attrs = {"class": "table table-stack ledger brief", "aria-label": "Parts to buy"}
        order_by = "number"

    def __init__(self, *args: Any, symbol: str, **kwargs: Any) -> None:
        self.symbol = symbol
        super().__init__(*args, **kwargs)

    render_number = PartTable.render_number
    order_name = PartTable.order_name

    def render_on_hand(self, record: Part) -> str:
        figure = with_expired(record)
        over = -record.available_steps  # type: ignore[attr-defined]
        if over <= 0:
            return figure
        return format_html(BESIDE, figure, f"{units(record, over)} short of what is reserved")

    def render_suggested(self, record: Part) -> str:
        return format_html('<span class="value">{}</span>', units(record, suggested(record)))

    def render_cost(self, record: Part) -> str:
        cents = record.cost_of(suggested(record))
        return format_money(cents, self.symbol) if cents else "not known"


def suggested(part: Part) -> int:
    """How much of a part to buy, from the figures of its row: beyond what is on order. [steps]"""
    return suggested_steps(
        usable_steps=part.usable_steps + part.on_order_steps,  # type: ignore[attr-defined]
        order_up_to_steps=part.order_up_to_steps,  # type: ignore[attr-defined]
    )


class PlaceTable(tables.Table):
    """Bins, drawers, trays and quarantine."""

    code = tables.Column(verbose_name="Place", attrs=FIRST)
    name = tables.Column(attrs=FIRST_GROWS, default="")
    kind = tables.Column(attrs=FIRST, order_by=("kind", "code"))
    parts_count = tables.Column(
        verbose_name="Parts there", attrs=NUM, order_by=("parts_count", "code")
    )

    class Meta:
        attrs = {"class": "table table-stack ledger brief", "aria-label": "Places"}
        order_by = "code"

    def render_code(self, value: str, record: Location) -> str:
        return format_html(
            '<a class="value nobreak" href="{}">{}</a>',
            reverse("inventory:location", args=[record.code]),
            value,
        )

    def render_kind(self, record: Location) -> str:
        kind = record.get_kind_display().lower()
        return f"{kind}, retired" if record.retired else kind

    def render_parts_count(self, value: int) -> str:
        return f"{value:,}" if value else "empty"
