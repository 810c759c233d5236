"""Lists of components and of services."""

from decimal import Decimal
from typing import Any

import django_tables2 as tables
from django.db.models import QuerySet
from django.urls import reverse
from django.utils.html import format_html, format_html_join

from equipment.counters import plain
from equipment.models import Component, Measure, Service, Trigger

NUM = {"th": {"class": "num"}, "td": {"class": "num"}}
UNITS: dict[str, str] = {
    Measure.HOURS: "h",
    Measure.STROKES: "strokes",
    Measure.GALLONS: "gal",
    Trigger.Measure.DAYS: "d",
}


def rounded(value: Decimal) -> str:
    """A life as people say it: whole from 100 on, one decimal below."""
    return plain(round(value, 0 if value >= 100 else 1))


def interval_words(trigger: Trigger) -> str:
    """ "250 h", "90 d"."""
    return f"{plain(trigger.interval)} {UNITS[trigger.measure]}"


class ComponentTable(tables.Table):
    """Everything the shop holds that wears."""

    tag = tables.Column(verbose_name="Component")
    type = tables.Column(order_by=("type__kind__flow_order", "type__name", "tag"))
    where = tables.Column(empty_values=(), order_by=("rig_number", "place", "tag"))
    serial = tables.Column(verbose_name="Serial", order_by=("serial", "tag"))
    life = tables.Column(empty_values=(), orderable=False, attrs=NUM)

    class Meta:
        attrs = {"class": "table table-stack", "aria-label": "Components"}
        order_by = "tag"
        default = ""

    def render_tag(self, value: str, record: Component) -> str:
        return format_html(
            '<a class="value nobreak" href="{}">{}</a>',
            reverse("equipment:component", args=[record.tag]),
            value,
        )

    def render_type(self, record: Component) -> str:
        kind = f"{record.type.kind}{f' {record.side}' if record.side else ''}"
        return format_html("{}<small>{}</small>", kind, record.type.name)

    def render_where(self, record: Component) -> str:
        if record.is_retired:
            return "retired"
        fitted = record.fitted_now  # type: ignore[attr-defined]
        if not fitted:
            return "on the shelf"
        position = fitted[0].position
        return format_html(
            '<a href="{}">{}</a><small>{}</small>',
            reverse("shop:rig", args=[position.rig.number]),
            position.rig,
            position.label,
        )

    def render_life(self, record: Component) -> str:
        rows = sorted(record.wear.all(), key=lambda row: Measure.values.index(row.measure))
        return format_html_join(
            "",
            "<div>{}</div>",
            (
                (
                    f"{'at least ' if row.is_at_least else ''}{rounded(row.life)}"
                    f" {UNITS[row.measure]}",
                )
                for row in rows
            ),
        )


class ServiceTable(tables.Table):
    """What is done at which interval."""

    name = tables.Column(verbose_name="Service", order_by=("name", "kind__flow_order"))
    kind = tables.Column(order_by=("kind__flow_order", "side", "name"))
    every = tables.Column(empty_values=(), orderable=False, verbose_name="Every")
    tolerance = tables.Column(empty_values=(), orderable=False, attrs=NUM)
    skill = tables.Column(empty_values=(), orderable=False, verbose_name="Done by")
    labour = tables.Column(empty_values=(), orderable=False, attrs=NUM, verbose_name="Takes")

    class Meta:
        attrs = {"class": "table table-stack", "aria-label": "Services"}
        order_by = "kind"

    def render_name(self, value: str, record: Service) -> str:
        return format_html(
            '<a class="value" href="{}">{}</a>',
            reverse("equipment:service", args=[record.pk]),
            value,
        )

    def render_kind(self, record: Service) -> str:
        return f"{record.kind}{f' {record.side}' if record.side else ''}"

    def render_every(self, record: Service) -> str:
        triggers = _version(record).triggers.all()
        words = " or ".join(interval_words(each) for each in triggers)
        return words or _version(record).condition_sign or "never by itself"

    def render_tolerance(self, record: Service) -> str:
        version = _version(record)
        if version.is_hard_limit:
            return "set by law"
        return f"{plain(version.tolerance_percent)} %" if version.tolerance_percent else "none"

    def render_skill(self, record: Service) -> str:
        return _version(record).get_skill_display()

    def render_labour(self, record: Service) -> str:
        minutes = _version(record).labour_minutes
        return f"{minutes} min" if minutes else ""

    def order_name(
        self, queryset: QuerySet[Service], is_descending: bool
    ) -> tuple[QuerySet[Service], bool]:
        sign = "-" if is_descending else ""
        return queryset.order_by(f"{sign}name", "kind__flow_order", "pk"), True


def _version(record: Any) -> Any:
    """The current version, prefetched by the page."""
    return record.current[0]
