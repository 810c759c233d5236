"""The list of sheets and its filter."""

from collections.abc import Mapping
from typing import Any

import django_filters as filters
import django_tables2 as tables
from django.db.models import Q, QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString

from equipment.models import Rig
from shop import words
from shop.models import Person, ServiceSheet
from shop.services.waiting import Wait
from shop.templatetags.look import punches, stencil, tag

NUM = {"th": {"class": "num"}, "td": {"class": "num"}}


class SheetTable(tables.Table):
    """Sheets, the newest first, to be picked for printing."""

    pick = tables.Column(
        verbose_name="Pick",
        accessor="number",
        orderable=False,
        attrs={"td": {"class": "cell-pick"}},
    )
    number = tables.Column(verbose_name="Sheet", attrs={"td": {"class": "cell-number"}})
    subject = tables.Column(
        verbose_name="Rig or component",
        accessor="subject",
        order_by=("rig__number", "number"),
        attrs={"td": {"class": "cell-subject"}},
    )
    state = tables.Column(
        verbose_name="State",
        order_by=("state", "number"),
        attrs={"td": {"class": "cell-state"}},
    )
    lines_count = tables.Column(
        verbose_name="Lines", attrs={"th": {"class": "num"}, "td": {"class": "num cell-lines"}}
    )
    planned_on = tables.Column(
        verbose_name="Planned for",
        order_by=("planned_on", "number"),
        attrs={"td": {"class": "cell-planned"}},
    )
    technician = tables.Column(
        verbose_name="Technician",
        order_by=("technician__name", "number"),
        empty_values=(),
        attrs={"td": {"class": "cell-person"}},
    )

    class Meta:
        attrs = {"class": "table table-stack sheet-list", "aria-label": "Sheets"}
        order_by = "-number"

    def __init__(self, *args: Any, today: Any, **kwargs: Any) -> None:
        self.today = today
        #: What the sheets of this page wait for, by their pk.
        self.waits: Mapping[int, Wait] = {}
        super().__init__(*args, **kwargs)

    def render_pick(self, record: ServiceSheet) -> SafeString:
        return format_html(
            '<label class="box-target"><input type="checkbox" name="sheet" value="{}">'
            '<span class="visually-hidden">Pick sheet {}</span></label>',
            record.number,
            record,
        )

    def render_number(self, record: ServiceSheet) -> SafeString:
        return format_html(
            '<a class="value" href="{}">{}</a>', reverse("shop:sheet", args=[record.number]), record
        )

    def render_subject(self, record: ServiceSheet) -> SafeString:
        if record.rig:
            return format_html(
                '<span class="cluster">{} {}</span>',
                stencil(record.rig.number, height=24),
                record.rig.name,
            )
        return format_html("{}, on the bench", record.component)

    def render_state(self, record: ServiceSheet) -> SafeString:
        marks = self._waits(record) if record.is_waiting_for_parts else ""
        if record.is_second_look_wanted:
            marks = tag("second_look")
        elif record.corrects is not None:
            marks = format_html("<small>corrects sheet {}</small>", record.corrects)
        elif (last := record.corrected_by) is not None:  # type: ignore[attr-defined]
            marks = format_html("<small>corrected by sheet {}</small>", f"{last:04d}")
        is_void = record.state == ServiceSheet.State.VOID
        return format_html(
            "{} {}", punches(record.step, record.get_state_display(), void=is_void), marks
        )

    def _waits(self, record: ServiceSheet) -> SafeString:
        wait = self.waits.get(record.pk)
        if wait is None:
            return tag("waiting", "waiting for parts")
        has_come = (
            tag("due", "has come in") if wait.has_come else tag("waiting", "waiting for parts")
        )
        since = words.day(timezone.localtime(wait.since).date(), today=self.today)
        return format_html(
            '{}<small class="written">{}</small><small>since {}</small>', has_come, wait.text, since
        )

    def render_planned_on(self, value: Any) -> str:
        return words.day(value, today=self.today)

    def render_technician(self, record: ServiceSheet) -> str:
        return record.technician.name if record.technician else "not handed out"


class SheetFilter(filters.FilterSet):
    """Sheets by number or word, by state, rig and technician."""

    q = filters.CharFilter(label="Find a sheet", method="find")
    show = filters.ChoiceFilter(
        label="Show",
        method="pick",
        empty_label="all",
        choices=[
            ("open", "open"),
            ("waiting", "waiting for parts"),
            ("second_look", "second look wanted"),
            *[(state.value, state.label) for state in ServiceSheet.State],
        ],
    )
    rig = filters.ModelChoiceFilter(
        label="Rig", queryset=Rig.objects.order_by("number"), empty_label="all"
    )
    technician = filters.ModelChoiceFilter(
        label="Technician",
        queryset=Person.objects.filter(sheets__isnull=False).distinct().order_by("name"),
        empty_label="all",
    )

    class Meta:
        model = ServiceSheet
        fields: list[str] = []

    def find(self, queryset: QuerySet[ServiceSheet], name: str, value: str) -> Any:
        word = value.strip()
        if word.isdecimal() and len(word) < 10:
            return queryset.filter(Q(number=int(word)) | Q(rig__number=int(word)))
        return queryset.filter(
            Q(rig__name__icontains=word)
            | Q(component__tag__icontains=word)
            | Q(lines__version__service__name__icontains=word)
        ).distinct()

    def pick(self, queryset: Any, name: str, value: str) -> Any:
        if value == "open":
            return queryset.open()
        if value == "waiting":
            return queryset.open().filter(is_waiting_for_parts=True)
        if value == "second_look":
            return queryset.to_look_at_again()
        return queryset.filter(state=value)
