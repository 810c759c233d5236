"""The due list: filtered, picked from, printed, taken away."""

from datetime import date
from decimal import Decimal
from itertools import islice
from typing import Any, Final
from urllib.parse import urlencode

from django.http import Http404, HttpResponse, StreamingHttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_safe

from equipment.due import FAR_DATE
from equipment.models import Due, Rig
from equipment.services import including
from shop import duelist, exporting, kits, links, readiness, words
from shop.access import may
from shop.filters import DueFilter
from shop.http import PageRequest, page_size_of, pdf_response
from shop.paper.due_list import DuePaper, due_list_pdf
from shop.tables import DueTable, next_text, paper_row

EXPORT_HEAD: Final = (
    "Rig",
    "Name",
    "Component",
    "Tag",
    "Service",
    "Life",
    "Life is",
    "Interval",
    "Unit",
    "State",
    "10 % by",
    "Falls due",
    "90 % by",
    "Past tolerance",
    "Next stay",
    "Odds before",
    "Odds of falling due",
    "Odds of falling due, %",
    "Odds of passing its tolerance, %",
    "Includes",
    "Put off",
    "Left undone",
    "Kit",
    "Parts",
    "Sheet",
)


@require_safe
def due(request: PageRequest) -> HttpResponse | StreamingHttpResponse:
    """Services that fall due, first to fall first, fifty a page."""
    today, shop = request.today, request.shop
    found = DueFilter(
        request.GET,
        queryset=Due.objects.listed(),
        today=today,
        warning_days=shop.warning_days,
    )
    is_sound = found.form.is_valid()
    rows = found.qs
    if is_sound and request.GET.get("export") in exporting.KINDS:
        return _export(request, rows, found)
    sort = found.order if is_sound else duelist.DATE
    if is_sound and request.GET.get("export") == "pdf":
        return _printed(request, rows, found)
    page = duelist.page_of(
        rows,
        sort=sort,
        after=_after(request),
        today=today,
        shop=shop,
        folded_to=found.folded_to if is_sound else None,
        odds_before=found.odds_before if is_sound else None,
    )
    picked = _picked(request) if may(request.user, "shop:draft_sheet") else []
    here = {row.due.pk for row in page.rows}
    may_draft = may(request.user, "shop:draft_sheet")
    table = DueTable(
        page.rows,
        today=today,
        shop=shop,
        may_draft=may_draft,
        rig_url=lambda number: links.address(request.user, "shop:rig", number),
        sheet_url=lambda number: links.address(request.user, "shop:sheet", number),
        put_off_url=lambda due: links.put_off(request, due.tag, due.service_id),
        picked=frozenset(picked),
    )
    context: dict[str, Any] = {
        "filter": found,
        "table": table,
        "rows": page.rows,
        "may_draft": may_draft,
        "picked": picked,
        "picks": "".join(f"&due={pk}" for pk in picked),
        "picked_elsewhere": Due.objects.for_due_list()
        .filter(pk__in=[pk for pk in picked if pk not in here])
        .order_by("rig_number", "due_date", "pk")
        if picked
        else [],
        "is_by_the_stay": sort == duelist.ODDS and is_sound and bool(found.odds_before),
        "next_query": _query(request, after=str(page.following)) if page.following else "",
        "first_query": _query(request) if "after" in request.GET else "",
        "count": duelist.count_text(duelist.capped(rows)),
        "exports": [(kind, _query(request, export=kind)) for kind in (*exporting.KINDS, "pdf")],
        "show_all": _query(request, before="all"),
        "is_everything": found.form.cleaned_data.get("before") == "all" if is_sound else False,
    }
    if not page.rows:
        context["next_due"] = _next_to_fall(request, found)
    number = found.form.cleaned_data.get("rig") if is_sound else None
    if number and (rig := Rig.objects.filter(number=number).first()):
        context["readiness"] = readiness.of_rig(rig, today=today, shop=shop)
        context["rig"] = rig
    if request.htmx and not request.htmx.history_restore_request:
        response = render(request, "shop/_partials/due_results.html", context)
    else:
        listed = Due.objects.listed()
        overdue = duelist.capped(listed.filter(due_date__lte=today).overdue(today))
        both = duelist.capped(listed.filter(due_date__lte=today))
        context["cells"] = [
            ("Overdue", duelist.count_text(overdue)),
            ("Due, in tolerance", duelist.count_text(max(both - overdue, 0))),
        ]
        # 422 where the address carries a filter that does not exist: the page says so beside it.
        response = render(request, "shop/due.html", context, status=200 if is_sound else 422)
    patch_vary_headers(response, ["HX-Request"])
    return response


@require_safe
def due_picked(request: PageRequest) -> HttpResponse:
    """What the services ticked so far come to: the bar at the foot of the due list."""
    dues = list(
        Due.objects.for_due_list().filter(pk__in=_picked(request)).order_by("due_date", "pk")
    )
    rigs = {due.rig_id: due.rig for due in dues if due.rig}
    context: dict[str, Any] = {"dues": dues, "rigs": list(rigs.values())}
    if len(rigs) == 1:
        context |= {"rig": next(iter(rigs.values()))} | _sums(request, dues)
    return render(request, "shop/_partials/pickbar.html", context)


def _picked(request: PageRequest) -> list[int]:
    """The keys of the due rows ticked, as the address carries them; what is no key is left."""
    asked = [pk for pk in request.GET.getlist("due") if pk.isdecimal() and len(pk) < 19]
    return [int(pk) for pk in dict.fromkeys(asked[: duelist.MOST_PICKED])]


def _sums(request: PageRequest, dues: list[Due]) -> dict[str, Any]:
    """Bench time, parts and kits of services done together, as a sheet of them would count."""
    dues, _ = including.folded(dues)
    asked = [(due.version.service_id, due.rig_id) for due in dues]
    found = kits.stock_for(asked, today=request.today).kits(asked)
    needed = [kit for kit in found if kit.is_needed]
    short = [kit for kit in needed if kit.is_short]
    return {
        "bench": words.span(sum(due.version.planned_minutes for due in dues)),
        "cost_cents": sum(kit.cost_cents for kit in found),
        "needed": len(needed),
        "here": len(needed) - len(short),
        "short": len(short),
        "short_text": "; ".join(dict.fromkeys(kit.short_text for kit in short)),
        "where_text": kits.where_text(needed),
    }


def _after(request: PageRequest) -> duelist.Cursor | None:
    text = request.GET.get("after", "")
    try:
        return duelist.Cursor.read(text) if text else None
    except duelist.BadCursor as error:
        raise Http404("The list has no such page. Open Due again.") from error


def _query(request: PageRequest, **changes: str) -> str:
    """The filters of this page with something changed, from the first row on unless told."""
    kept = [
        (key, value)
        for key, values in request.GET.lists()
        for value in values
        if key not in ("after", "export", "due", *changes) and value
    ]
    return f"?{urlencode([*kept, *changes.items()])}"


def _next_to_fall(request: PageRequest, found: DueFilter) -> str:
    """The first service beyond the span asked for, in words: what comes next."""
    rows = Due.objects.listed()
    data = found.form.cleaned_data
    if data.get("rig"):
        rows = rows.filter(rig_number=data["rig"])
    if data.get("kind"):
        rows = rows.filter(kind=data["kind"])
    if data.get("skill"):
        rows = rows.filter(skill=data["skill"])
    return next_text(duelist.fetch(rows, most=1), today=request.today)


def _export(
    request: PageRequest, rows: Any, found: DueFilter
) -> HttpResponse | StreamingHttpResponse:
    """The whole filtered list as a file, in the order of the page."""
    today = request.today
    lines = (
        (
            row.due.rig_number,
            row.due.rig_name,
            row.due.place,
            row.due.tag,
            row.due.service_name,
            words.life_now(row.due, today=today).normalize(),
            "at least" if row.due.is_at_least else "",
            row.due.interval.normalize(),
            words.LONG_UNITS[row.due.measure],
            row.state_word,
            _known(row.due.due_10),
            _known(row.due.due_date),
            _known(row.due.due_90),
            _known(row.due.late_date),
            _known(row.due.stay_on),
            row.chance.before if row.chance else None,
            row.odds.text,
            _per_cent(row, row.chance.due if row.chance else None),
            _per_cent(row, row.chance.late if row.chance else None),
            ", ".join(row.includes),
            row.put_off,
            row.left_text,
            row.kit.word,
            Decimal(row.kit.cost_cents) / 100 if row.kit.is_needed else None,
            str(row.sheet or ""),
        )
        for row in duelist.walk(
            rows,
            sort=found.order,
            today=today,
            shop=request.shop,
            folded_to=found.folded_to,
            odds_before=found.odds_before,
        )
    )
    return exporting.file_of(
        request.GET["export"], name=f"due-{today:%Y-%m-%d}", head=EXPORT_HEAD, rows=lines
    )


def _known(day: date) -> date | None:
    return None if day == FAR_DATE else day


def _per_cent(row: duelist.DueRow, permille: int | None) -> Decimal | None:
    """Odds as a figure; none where no day or no use is known."""
    if permille is None or not words.has_date(row.due):
        return None
    return Decimal(permille) / 10


#: Longer than this nobody prints; such a list is taken away as a file.
MOST_PRINTED: Final = 1000


def _printed(request: PageRequest, rows: Any, found: DueFilter) -> HttpResponse:
    """The filtered list on paper, in the order of the page."""
    today, shop = request.today, request.shop
    walk = duelist.walk(
        rows,
        sort=found.order,
        today=today,
        shop=shop,
        folded_to=found.folded_to,
        odds_before=found.odds_before,
    )
    local = timezone.localtime(timezone.now(), shop.zone)
    listed = [paper_row(row, today=today, shop=shop) for row in islice(walk, MOST_PRINTED)]
    cut = f", the first {MOST_PRINTED:,}" if next(walk, None) else ""
    content = due_list_pdf(
        DuePaper(
            shop_name=shop.name,
            asked=_asked(found) + cut,
            printed_text=f"Printed {local.day} {local:%b %Y %H:%M}",
            rows=tuple(listed),
        ),
        page_size=page_size_of(request),
    )
    return pdf_response(content, name=f"due-{today:%Y-%m-%d}")


def _asked(found: DueFilter) -> str:
    """The filters in words: "Falls due within: 30 days; Sort by: date"."""
    said = []
    for field in found.form:
        value = found.form.cleaned_data.get(field.name)
        if value not in (None, ""):
            choices = dict(getattr(field.field, "choices", ()))
            said.append(f"{field.label}: {choices.get(value, value)}")
    return "; ".join(said)
