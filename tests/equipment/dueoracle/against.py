"""The kept rows beside the second opinion: every difference in words."""

from collections.abc import Iterator
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction

from equipment.models import Due, Renewal
from equipment.services import rebuild_all, turn_day
from equipment.services.odds import odds_by
from tests.equipment.dueoracle.gather import stories
from tests.equipment.dueoracle.plain import Story
from tests.equipment.dueoracle.reckon import FAR, WALK, Verdict, counts_from, on_force, verdict
from tests.equipment.dueoracle.shop import RandomShop
from tests.equipment.factories import ZONE

#: A day, for the part of it that had passed when a counter was read.
DAYS = 1
#: Odds in points.
POINTS = 0.01
#: What a day is compared to where the walk of the oracle ends.
SO_FAR = timedelta(days=WALK - 2_000)


def try_seed(seed: int, *, steps: int, every: int = 6) -> list[str]:
    """Let a shop live through so many things; return the first differences, after what happened.

    every: after so many things all rows are looked at; after each, what a rebuild changes.
    """
    with transaction.atomic():
        try:
            shop = RandomShop(seed)
            happened = []
            for number in range(1, steps + 1):
                happened.append(shop.step())
                is_turned = happened[-1] == "turn"
                found = list(unsettled(shop.turned_on if is_turned else None))
                if not found and (number % every == 0 or number == steps):
                    found = list(differences(today=shop.turned_on, zone=ZONE))
                if found:
                    return [", ".join(happened), *found]
            return []
        finally:
            transaction.set_rollback(True)


def unsettled(turned_on: date | None) -> Iterator[str]:
    """Yield what a rebuild changes, and a second turn of the day that was turned to."""
    if changed := rebuild_all(zone=ZONE)[1]:
        yield f"a rebuild changes {changed} rows"
    if turned_on is not None:
        again = turn_day(today=turned_on, zone=ZONE)
        if again.stays or again.rows:
            yield f"turned twice: {again}"


def differences(*, today: date, zone: ZoneInfo) -> Iterator[str]:
    """Yield what the kept rows say otherwise; nothing where all is well."""
    rows: list[Due] = []
    for row, component, service, story in stories(today=today, zone=zone):
        if story is None or row is None:
            yield f"row of service {service} on {component}: kept {row}, wanted {story}"
            continue
        rows.append(row)
        wanted = verdict(story, zone=zone)
        if on_force(story):
            counted = Renewal.objects.get(pk=on_force(story)[-1].number).counts_from
            if counted != counts_from(story, zone)[0]:
                yield f"counts from {counted}, wanted {counts_from(story, zone)[0]}: {story.doings}"
        for said in _of_row(row, wanted, story, today):
            yield f"{row.version.service} on {row.component}, {_said(story)}: {said}"
    yield from _bigger(rows)
    yield from _live_odds(rows)


def _said(story: Story) -> str:
    ways = ", ".join(f"{way.measure} {way.interval:g}" for way in story.asked.ways)
    return f"all of {ways}" if story.asked.is_all else ways


def _of_row(row: Due, wanted: Verdict, story: Story, today: date) -> Iterator[str]:
    for name in ("due_10", "due_date", "due_90", "window_from", "late_date"):
        kept, should = getattr(row, name), getattr(wanted, name)
        if should == FAR or should - today > SO_FAR:
            if kept - today < SO_FAR:
                yield f"{name} is {kept}, wanted none before {today + SO_FAR}"
        elif abs((kept - should).days) > DAYS:
            yield f"{name} is {kept}, wanted {should}"
    for name in ("is_past_due", "is_past_tolerance"):
        kept, should = getattr(row, name), getattr(wanted, name)
        if should is not None and kept is not should:
            yield f"{name} is {kept}, wanted {should}"
    if not row.due_10 <= row.due_date <= row.due_90:
        yield f"dates out of order: {row.due_10}, {row.due_date}, {row.due_90}"
    if row.is_listed is not story.is_listed:
        yield f"is_listed is {row.is_listed}"
    if row.stay_on != (story.stay_on or FAR):
        yield f"stay_on is {row.stay_on}, wanted {story.stay_on}"
        return
    for name, field in (
        ("odds_due", "odds_due_permille"),
        ("odds_most", "odds_due_most_permille"),
        ("odds_late", "odds_late_permille"),
    ):
        kept, should = getattr(row, field) / 1000, getattr(wanted, name)
        if abs(kept - should) > POINTS:
            yield f"{field} is {kept}, wanted {should:.3f}"


def _bigger(rows: list[Due]) -> Iterator[str]:
    """A smaller service keeps when the first listed one falls due that includes it, however far
    down. What does not apply to the component is done on it by none, and leads no further down.
    """
    here = {(row.component_id, row.version.service_id): row for row in rows}
    wanted = {row.pk: FAR for row in rows}
    for row in rows:
        if not row.is_listed:
            continue
        below, seen = [row], {row.pk}
        while below:
            for service in below.pop().version.includes.all():
                smaller = here.get((row.component_id, service.pk))
                if smaller is None or smaller.pk in seen:
                    continue
                seen.add(smaller.pk)
                below.append(smaller)
                wanted[smaller.pk] = min(wanted[smaller.pk], row.due_date)
    for row in rows:
        if row.bigger_date != wanted[row.pk]:
            yield f"{row}: bigger_date is {row.bigger_date}, wanted {wanted[row.pk]}"


def _live_odds(rows: list[Due]) -> Iterator[str]:
    """The odds kept before a stay are those that a page reckons by the evening before."""
    for day in {row.stay_on for row in rows} - {FAR}:
        mine = [row for row in rows if row.stay_on == day]
        live = odds_by(
            Due.objects.filter(pk__in=[row.pk for row in mine]),
            day=day - timedelta(days=1),
            zone=ZONE,
        )
        for row in mine:
            found = live[row.pk]
            kept = (row.odds_due_permille, row.odds_due_most_permille, row.odds_late_permille)
            if any(
                abs(1000 * odds - each) > 0.51
                for odds, each in zip((found.due, found.most, found.late), kept, strict=True)
            ):
                yield f"{row}: kept {kept} before {day}, live {found}"
