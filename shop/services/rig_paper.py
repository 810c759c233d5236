"""The drawing of a rig as the paper says it: rows in, `shop.paper` dataclasses out."""

from datetime import date

from equipment.models import Finding, Rig
from inventory.models import Balance
from inventory.services import in_words
from shop import readiness, rigview, whereabouts, words
from shop.models import RigDrawer, Shop
from shop.paper.rig_drawing import RigDrawing


def rig_drawing(
    rig: Rig, *, today: date, shop: Shop, printed: str, read: str, language: str = "en"
) -> RigDrawing:
    """Return what is fitted in a rig and what falls due there, for one page.

    printed: when, in words. read: when it was last read, in words.
    """
    bookings = list(rig.bookings.filter(last_day__gte=today).order_by("first_day", "pk"))
    place = whereabouts.whereabouts(bookings, today=today)
    where = "laid up" if rig.is_laid_up else place.where_text()
    cells = [("Where", where[:1].upper() + where[1:])]
    if not rig.is_laid_up:
        away = (("Then away", place.then_text()), ("Next stay", place.stay_text()))
        cells += [(caption, text) for caption, text in away if text]
    return RigDrawing(
        rig_number=rig.number,
        title=", ".join(text for text in (rig.name, rig.description) if text),
        shop_name=shop.name,
        printed_text=printed,
        positions=tuple(
            rigview.strip_of(
                rigview.positions_of(rig, today=today),
                today=today,
                warning_days=shop.warning_days,
                unread_days=shop.unread_days,
                next_stay=place.next_stay,
                href=lambda component: "",
            )
        ),
        cells=(*cells, ("Last read", read)),
        ready=readiness.of_rig(rig, today=today, shop=shop).text,
        found=tuple(
            (
                f"rig must not leave: {row.text}" if row.is_grave else row.text,
                words.day(row.opened_at.astimezone(shop.zone).date(), today=today),
            )
            for row in Finding.objects.open().of_rig(rig).order_by("-is_grave", "opened_at", "pk")
        ),
        drawer=_drawer(rig, today=today),
        jobs=tuple(
            (row.job, words.between(row.first_day, row.last_day, today=today)) for row in bookings
        ),
        language=language,
    )


def _drawer(rig: Rig, *, today: date) -> tuple[tuple[str, str], ...]:
    drawer = RigDrawer.objects.filter(rig=rig).select_related("location").first()
    if drawer is None:
        return ()
    return tuple(
        (f"{row.part.name}{_use_by(row, today=today)}", in_words(row.part, row.quantity_steps))
        for row in Balance.objects.for_place(drawer.location)
    )


def _use_by(row: Balance, *, today: date) -> str:
    if not row.lot.expires:
        return ""
    past = ", past it" if row.lot.expires_on < today else ""
    return f", use by {words.day(row.lot.expires_on, today=today)}{past}"
