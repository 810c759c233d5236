"""Lists of components and of services."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

import django_tables2 as tables
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html, format_html_join
from django.utils.safestring import mark_safe

from equipment.asked import Asked, falls_due_lines, tolerance_words
from equipment.counters import plain
from equipment.due import FAR_DATE
from equipment.models import Component, Measure, Service, ServiceVersion, Trigger

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


@dataclass(frozen=True, slots=True)
class ServiceRow:
    """One service of the list: what its current version asks for."""

    service: Service
    version: ServiceVersion
    asked: Asked


class ServiceTable(tables.Table):
    """What is done at which interval, for one kind of component."""

    name = tables.Column(empty_values=(), verbose_name="Service")
    due = tables.Column(empty_values=(), verbose_name="Falls due")
    tolerance = tables.Column(empty_values=())
    work = tables.Column(empty_values=(), verbose_name="Done by")
    basis = tables.Column(empty_values=())
    changed = tables.Column(empty_values=(), verbose_name="Last change")

    class Meta:
        attrs = {"class": "table table-stack"}
        orderable = False

    def __init__(self, *args: Any, attrs: dict[str, str], **kwargs: Any) -> None:
        super().__init__(
            *args, attrs={"class": "table table-stack service-list", **attrs}, **kwargs
        )

    def render_name(self, record: ServiceRow) -> str:
        service = record.service
        side = f" {service.side}" if service.side else ""
        return format_html(
            '<a class="value" href="{}">{}{}</a>{}',
            reverse("equipment:service", args=[service.pk]),
            service.name,
            side,
            mark_safe("<small>retired</small>") if service.is_retired else "",
        )

    def render_due(self, record: ServiceRow) -> str:
        lines = falls_due_lines(record.asked)
        return format_html_join("", "<div>{}</div>", ((line,) for line in lines))

    def render_tolerance(self, record: ServiceRow) -> str:
        return tolerance_words(record.asked)

    def render_work(self, record: ServiceRow) -> str:
        minutes = record.version.planned_minutes
        return format_html(
            "{}<small>{}</small>", record.asked.skill, f"{minutes} min" if minutes else ""
        )

    def render_basis(self, record: ServiceRow) -> str:
        return format_html("{}<small>{}</small>", record.asked.basis, record.asked.source)

    def render_changed(self, record: ServiceRow) -> str:
        version = record.version
        return format_html(
            '<span class="nobreak">{}</span><small>version {}, by {}</small>',
            _day(timezone.localtime(version.published_at).date()),
            version.version,
            version.author.name,
        )


class AppliesTable(tables.Table):
    """The components that a service is for, and when it falls due on each."""

    tag = tables.Column(verbose_name="Component")
    where = tables.Column(empty_values=(), orderable=False)
    due = tables.Column(empty_values=(), orderable=False, verbose_name="Falls due")
    done = tables.Column(empty_values=(), orderable=False, verbose_name="Counted since")

    class Meta:
        attrs = {"class": "table table-stack", "aria-label": "Components it applies to"}
        order_by = "tag"
        default = ""

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        self.today = today
        super().__init__(*args, **kwargs)

    def render_tag(self, value: str, record: Component) -> str:
        return format_html(
            '<a class="value nobreak" href="{}">{}</a><small>{}</small>',
            reverse("equipment:component", args=[record.tag]),
            value,
            record.type.name,
        )

    def render_where(self, record: Component) -> str:
        fitted = record.fitted_now  # type: ignore[attr-defined]
        if not fitted:
            return "on the shelf"
        return format_html("{}<small>{}</small>", fitted[0].position.rig, fitted[0].position.label)

    def render_due(self, record: Component) -> str:
        rows = record.due_of_it  # type: ignore[attr-defined]
        if not rows:
            return "not by itself"
        due = rows[0]
        if due.due_date == FAR_DATE:
            return "no date yet"
        day = _day(due.due_date)
        if due.postponed_to:
            return format_html("{}<small>put off to {}</small>", day, _day(due.postponed_to))
        if due.due_date < self.today:
            return f"was due {day}"
        if due.due_10 == due.due_90 or FAR_DATE in (due.due_10, due.due_90):
            return day
        return format_html(
            "about {}<small>{} – {}</small>", day, _day(due.due_10), _day(due.due_90)
        )

    def render_done(self, record: Component) -> str:
        rows = record.due_of_it  # type: ignore[attr-defined]
        if not rows:
            return ""
        return _day(timezone.localtime(rows[0].renewed_at).date())


def _day(day: date) -> str:
    return f"{day.day} {day:%b %Y}"
