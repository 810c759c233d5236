"""The due list and the rigs, drawn."""

from collections.abc import Callable, Sequence
from datetime import date, datetime
from typing import Any

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext

from equipment.models import Rig
from shop import kits, rigview, words
from shop.duelist import DueRow, ListedDue
from shop.models import Shop
from shop.paper.due_list import DuePaperRow
from shop.readiness import Readiness
from shop.roundwords import missed_text
from shop.templatetags.look import money, side, stencil, tag, tape
from shop.whereabouts import Whereabouts


def cell(name: str) -> dict[str, dict[str, str]]:
    """The class by which a phone puts a cell into its place (overview.css)."""
    return {"td": {"class": f"cell-{name}"}}


def next_text(first: list[ListedDue], *, today: date) -> str:
    """What comes next, where nothing falls due yet; first: the first due row, if there is one."""
    return "".join(
        f"The next is {due.rig_number:02d} {due.rig_name}, {due.what}, "
        f"{words.date_text(due, today=today)}."
        for due in first[:1]
    )


def kit_cell(kit: kits.Kit) -> SafeString | str:
    """Whether the parts are there; what is short stands under it."""
    if not kit.is_short:
        return kit.word
    return format_html(
        '<strong class="oxide">{}</strong><small>{}</small>', kit.word, kit.short_text
    )


def paper_row(row: DueRow, *, today: date, shop: Shop) -> DuePaperRow:
    """One row of the list as it is printed."""
    due = row.due
    includes = f"includes {', '.join(row.includes)}" if row.includes else ""
    notes = (words.date_note(due, today=today), row.put_off, row.left_text)
    return DuePaperRow(
        (
            (f"{due.rig_number:02d}", due.rig_name),
            (due.place, "\n".join(filter(None, (due.service_name, includes)))),
            (words.life_text(due, today=today), ""),
            (row.state_word, f"{row.sheet}" if row.sheet else ""),
            (words.date_text(due, today=today), "\n".join(filter(None, notes))),
            (f"{row.odds.text} {row.odds.by_text}".strip(), row.odds.late_text),
            ("on the sheet", "") if row.sheet else (row.kit.word, row.kit.short_text),
            (money(row.kit.cost_cents, shop.currency) if row.kit.is_needed else "", ""),
        )
    )


class DueTable(tables.Table):
    """Services that fall due, as the filters say. The page comes from shop.duelist."""

    pick = tables.Column(verbose_name="Pick", empty_values=(), attrs=cell("pick"))
    rig = tables.Column(verbose_name="Rig", empty_values=(), attrs=cell("rig"))
    what = tables.Column(verbose_name="Component and service", empty_values=(), attrs=cell("what"))
    life = tables.Column(verbose_name="Life now", empty_values=(), attrs=cell("life"))
    state = tables.Column(verbose_name="State", attrs=cell("state"))
    falls = tables.Column(verbose_name="Falls due", empty_values=(), attrs=cell("falls"))
    odds = tables.Column(verbose_name="Odds of falling due", empty_values=(), attrs=cell("odds"))
    kit = tables.Column(verbose_name="Kit", attrs=cell("kit"))
    parts = tables.Column(
        verbose_name="Parts",
        empty_values=(),
        attrs={"th": {"class": "num"}, "td": {"class": "num cell-parts"}},
    )

    class Meta:
        attrs = {"class": "table table-stack due-list", "aria-label": "Services that fall due"}
        orderable = False

    def __init__(
        self,
        data: Sequence[DueRow],
        *,
        today: date,
        shop: Shop,
        may_draft: bool,
        rig_url: Callable[[int], str],
        sheet_url: Callable[[int], str],
        put_off_url: Callable[[ListedDue], str],
        picked: frozenset[int] = frozenset(),
        **kwargs: Any,
    ) -> None:
        self.today, self.shop, self.picked = today, shop, picked
        self.rig_url, self.sheet_url, self.put_off_url = rig_url, sheet_url, put_off_url
        super().__init__(data, exclude=() if may_draft else ("pick",), **kwargs)
        self.may_draft = may_draft

    def render_pick(self, record: DueRow) -> SafeString:
        if record.sheet:
            return self._sheet(record)
        due = record.due
        return format_html(
            '<label class="box-target"><input type="checkbox" name="due" value="{}"{}>'
            '<span class="visually-hidden">Pick rig {} {}</span></label>',
            due.pk,
            SafeString(" checked") if due.pk in self.picked else "",
            f"{due.rig_number:02d}",
            due.what,
        )

    def render_rig(self, record: DueRow) -> SafeString:
        return stencil(record.due.rig_number, 28, f"rig {record.due.rig_number:02d}")

    def render_what(self, record: DueRow) -> SafeString:
        due = record.due
        return format_html(
            '<a href="{}" class="value">{}</a>, {} {}<br>{}{}',
            self.rig_url(due.rig_number),
            due.rig_name,
            due.kind_name[:1].lower() + due.kind_name[1:],
            SafeString(side(due.place_side)),
            due.service_name,
            format_html("<small>includes {}</small>", ", ".join(record.includes))
            if record.includes
            else "",
        )

    def render_life(self, record: DueRow) -> SafeString:
        due = record.due
        text = words.life_text(due, today=self.today)
        measure = rigview.bare_tape(due, today=self.today)
        if measure.life is None:
            every = text.partition(" of ")[2]
            text = f"{measure.unread}, every {every}" if every else measure.unread
        return format_html('<small class="nobreak">{}</small>{}', text, tape(measure, "small"))

    def render_state(self, record: DueRow) -> SafeString:
        shown = tag(record.state, record.state_word)
        if record.sheet and not self.may_draft:
            return format_html("{}<small>{}</small>", shown, self._sheet(record))
        return shown

    def render_falls(self, record: DueRow) -> SafeString:
        due = record.due
        return format_html(
            '<strong class="nobreak">{}</strong><small>{}</small>{}{}',
            words.date_text(due, today=self.today),
            words.date_note(due, today=self.today),
            self._left(record),
            self._put_off(record),
        )

    def _left(self, record: DueRow) -> SafeString:
        """The sheet that left it undone."""
        if record.left_on is None:
            return SafeString("")
        return format_html(
            '<small><a href="{}">{}</a></small>',
            self.sheet_url(record.left_on.number),
            record.left_text,
        )

    def _put_off(self, record: DueRow) -> SafeString:
        """Who put it off and why; for whoever may, the way to do so."""
        due, said = record.due, SafeString("")
        if record.put_off:
            said = format_html('<small class="written">{}</small>', record.put_off)
        url = "" if due.is_hard_limit else self.put_off_url(due)
        if not url:
            return said
        return format_html(
            '{}<small><a href="{}">{}<span class="visually-hidden"> rig {} {}</span></a></small>',
            said,
            url,
            "change that" if record.put_off else "put off",
            f"{due.rig_number:02d}",
            due.what,
        )

    def render_odds(self, record: DueRow) -> SafeString:
        return format_html(
            '<strong class="nobreak">{}</strong> <span class="nobreak">{}</span><small>{}</small>',
            record.odds.text,
            record.odds.by_text,
            record.odds.late_text,
        )

    def render_kit(self, record: DueRow) -> SafeString | str:
        # What is on a sheet is reserved or short there, and counts against what is free here.
        return "on the sheet" if record.sheet else kit_cell(record.kit)

    def render_parts(self, record: DueRow) -> str:
        return money(record.kit.cost_cents, self.shop.currency) if record.kit.is_needed else ""

    def _sheet(self, record: DueRow) -> SafeString:
        number = record.sheet.number if record.sheet else 0
        return format_html('<a href="{}">sheet {}</a>', self.sheet_url(number), record.sheet)


class RigTable(tables.Table):
    """All rigs: whether each may leave, where it is, when it was last read."""

    number = tables.Column(verbose_name="Rig", attrs=cell("rig"))
    name = tables.Column(verbose_name="Name", order_by=("name", "number"), attrs=cell("name"))
    readiness = tables.Column(
        verbose_name="Ready", empty_values=(), order_by=("first_due", "number"), attrs=cell("ready")
    )
    where = tables.Column(
        verbose_name="Where", empty_values=(), orderable=False, attrs=cell("where")
    )
    read = tables.Column(
        verbose_name="Last read",
        accessor="last_read",
        empty_values=(),
        order_by=("last_read", "number"),
        attrs=cell("read"),
    )

    class Meta:
        attrs = {"class": "table table-stack rig-list", "aria-label": "Rigs"}
        order_by = "number"

    #: Filled by the page for the rigs it shows, once it knows which.
    ready: dict[int, Readiness]
    missed: dict[int, list[date]]
    places: dict[int, Whereabouts]

    def __init__(self, *args: Any, today: date, shop: Shop, **kwargs: Any) -> None:
        self.today, self.shop = today, shop
        self.ready, self.missed, self.places = {}, {}, {}
        super().__init__(*args, **kwargs)

    def render_number(self, record: Rig) -> SafeString:
        return stencil(record.number, 28, f"rig {record.number:02d}")

    def render_name(self, record: Rig) -> SafeString:
        return format_html(
            '<a href="{}" class="value">{}</a><small>{}</small>',
            reverse("shop:rig", args=[record.number]),
            record.name,
            record.description,
        )

    def render_readiness(self, record: Rig) -> SafeString:
        ready = self.ready[record.pk]
        missed = missed_text(self.missed.get(record.pk, ()), today=self.today)
        small = format_html("<small>{}</small>", missed) if missed else ""
        if not ready.reasons:
            return format_html("{}{}", tag(ready.tag, ready.word), small)
        return format_html(
            "{}<small{}>{}{}</small>{}",
            tag(ready.tag, ready.tag_word),
            SafeString(' class="written"') if ready.is_held else "",
            "" if ready.is_held else f"{ready.word}: ",
            ready.why,
            small,
        )

    def render_where(self, record: Rig) -> str:
        return "" if record.is_laid_up else self.places[record.pk].where_text()

    def render_read(self, record: Any) -> SafeString:
        return last_read(record.last_read, today=self.today, shop=self.shop, rig=record)


def last_read(when: datetime | None, *, today: date, shop: Shop, rig: Rig) -> SafeString:
    """When a rig's counters were last read, tagged where that is too long ago."""
    tagged, moment = unread(when, today=today, shop=shop, rig=rig)
    if not moment:
        return tag("unread", tagged)
    if tagged:
        return format_html('{}<small class="written">{}</small>', tag("unread", tagged), moment)
    return format_html('<span class="written nobreak">{}</span>', moment)


def unread(when: datetime | None, *, today: date, shop: Shop, rig: Rig) -> tuple[str, str]:
    """The word of the tag where a rig was not read for too long, and when it was last read.

    Each is empty where there is none: "never read" has no moment, what is fresh has no tag.
    """
    if when is None or when.year < 2000:
        return gettext("never read"), ""
    days = (today - when.astimezone(shop.zone).date()).days
    is_old = days > shop.unread_days and not rig.is_laid_up
    moment = words.moment(when, zone=shop.zone, today=today)
    return (gettext("not read {days} d").format(days=days) if is_old else ""), moment
