"""The round of a rig as the paper says it: rows in, `shop.paper` dataclasses out."""

from collections.abc import Iterable, Iterator
from datetime import date, datetime, time, timedelta
from typing import Final, cast

from django.utils.text import capfirst

from equipment.expecting import Expected
from equipment.models import Counter, Finding, Installation, Rig, RoundItem
from equipment.services.expecting import expected_of
from equipment.services.rounds import items_of_week
from equipment.services.wearing import counters_for
from shop import words
from shop.models import Shop
from shop.paper.content import Side
from shop.paper.round_sheet import RoundCheck, RoundCounter, RoundPaper

WEEK: Final = 7


def round_papers(
    rigs: Iterable[Rig], *, first_day: date, today: date, shop: Shop, printed: str
) -> Iterator[RoundPaper]:
    """Yield the round sheet of each rig for the seven days from `first_day`, one at a time."""
    days = [first_day + timedelta(days=place) for place in range(WEEK)]
    headings = tuple(f"{day:%a} {day.day} {day:%b}" for day in days)
    for rig in rigs:
        yield RoundPaper(
            rig_number=rig.number,
            title=rig.name,
            shop_name=shop.name,
            days=headings,
            printed_text=printed,
            cells=(
                ("Days", f"{headings[0]} – {headings[-1]} {days[-1].year}"),
                ("Job", _jobs(rig, days)),
            ),
            checks=tuple(_check(item) for item in items_of_week(rig=rig)),
            counters=_counters(rig, days, today=today, shop=shop),
            open_work=tuple(
                finding.text
                for finding in Finding.objects.open().of_rig(rig).order_by("opened_at", "pk")
            ),
        )


def _jobs(rig: Rig, days: list[date]) -> str:
    booked = rig.bookings.filter(first_day__lte=days[-1], last_day__gte=days[0])
    return "; ".join(booked.order_by("first_day").values_list("job", flat=True)) or "–"


def _check(item: RoundItem) -> RoundCheck:
    return RoundCheck(
        place=capfirst(item.kind.name),
        text=item.text,
        side=cast(Side, item.side),
        sign=item.sign,
        is_weekly=item.every == RoundItem.Every.WEEK,
    )


def _counters(rig: Rig, days: list[date], *, today: date, shop: Shop) -> tuple[RoundCounter, ...]:
    fitted = Installation.objects.filter(position__rig=rig, removed_at__isnull=True).select_related(
        "component"
    )
    found = counters_for(rig, [row.component for row in fitted])
    begins, ends = _end_of(days[0], shop), _end_of(days[-1], shop)
    first, last = expected_of(found, at=begins), expected_of(found, at=ends)
    return tuple(
        _counter(each, first.get(each.pk), last.get(each.pk), today=today, shop=shop)
        for each in found
    )


def _counter(
    counter: Counter, first: Expected | None, last: Expected | None, *, today: date, shop: Shop
) -> RoundCounter:
    last_text = "not read yet"
    if counter.last_at > counter.started_at:
        read_on = counter.last_at.astimezone(shop.zone).date()
        last_text = (
            f"last {words.exactly(counter.last_value)} {counter.unit}, "
            f"{words.day(read_on, today=today)}"
        )
    expect_text = ""
    if last is not None:
        low = first.low if first is not None else counter.last_value
        expect_text = f"expect {words.exactly(low)} to {words.exactly(last.high)} by the last day"
    tag = f", {counter.component}" if counter.component else ""
    return RoundCounter(name=f"{counter.name}{tag}", last_text=last_text, expect_text=expect_text)


def _end_of(day: date, shop: Shop) -> datetime:
    return datetime.combine(day, time(23, 59), tzinfo=shop.zone)
