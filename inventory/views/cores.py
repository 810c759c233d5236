"""Old parts that suppliers pay for: which must go back by when, and what is still to be paid."""

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

from django.contrib import messages
from django.db.models import F
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from inventory.forms.cores import CoreForm
from inventory.models import Core
from inventory.quantities import format_money
from inventory.services import StockRefused, in_words
from inventory.services.buying_receipts import credit_core, send_core_back, set_back_by
from inventory.views.common import draw, signed_in

ROWS = 200
#: What is owed before what was paid, and of that what must go back first.
BY_DAY: list[Any] = [
    F("credited_on").asc(nulls_first=True),
    F("back_by").asc(nulls_last=True),
    "owed_since",
    "pk",
]


@require_http_methods(["GET", "HEAD", "POST"])
def cores(request: HttpRequest) -> HttpResponse:
    """What is owed back, the first to be due on top; sent: one row is changed."""
    today: date = request.today  # type: ignore[attr-defined]
    symbol: str = request.shop.currency  # type: ignore[attr-defined]
    every = request.GET.get("all") == "yes"
    rows = Core.objects.select_related("supplier", "part")
    open_rows = rows.filter(credited_on__isnull=True)
    shown = list((rows if every else open_rows).order_by(*BY_DAY)[:ROWS])
    refused: CoreForm | None = None
    asked = request.POST.get("core", "") if request.method == "POST" else ""
    if request.method == "POST":
        core = next((each for each in shown if str(each.pk) == asked), None)
        if core is None:
            messages.error(request, "Those were credited meanwhile. Look again.")
            return redirect("inventory:cores")
        refused = CoreForm(request.POST, core=core, today=today, symbol=symbol)
        if said := _changed(request, core, refused, timezone.now()):
            messages.success(request, said)
            return redirect("inventory:cores")
    context = {
        "rows": [
            {
                "core": each,
                "quantity": in_words(each.part, each.quantity_steps),
                "form": refused
                if refused is not None and str(each.pk) == asked
                else CoreForm(core=each, today=today, symbol=symbol),
                "is_overdue": bool(
                    each.back_by and each.back_by < today and each.sent_back_on is None
                ),
            }
            for each in shown
        ],
        "waiting": format_money(sum(each.credit_cents for each in open_rows), symbol),
        "waiting_count": open_rows.count(),
        "every": every,
        "any": Core.objects.exists(),
    }
    return draw(request, "inventory/cores.html", context)


def _changed(request: HttpRequest, core: Core, form: CoreForm, now: datetime) -> str:
    """Do what the button says and say it; nothing where the row goes back."""
    if not form.is_valid():
        return ""
    data = form.cleaned_data
    who: dict[str, Any] = {"author": signed_in(request), "at": now}
    acts: dict[str, tuple[str, Callable[[], Core], str]] = {
        "until": (
            "",
            lambda: set_back_by(core=core, back_by=data["back_by"], **who),
            "The day is kept.",
        ),
        "sent": (
            "on",
            lambda: send_core_back(core=core, on=data["on"], **who),
            f"The old {core.part.name} went back to {core.supplier}.",
        ),
        "paid": (
            "amount",
            lambda: credit_core(core=core, on=data["on"], cents=data["amount"], **who),
            f"{core.supplier} paid for the old {core.part.name}.",
        ),
    }
    do = request.POST.get("do", "")
    if do not in acts:
        form.add_error(None, "The page came incomplete. Send it again.")
        return ""
    needed, act, said = acts[do]
    for name in {needed, "on"} - {""} if needed else set():
        if data.get(name) is None:
            form.add_error(name, "This is needed.")
    if form.errors:
        return ""
    try:
        act()
    except StockRefused as refused:
        form.add_error("back_by" if do == "until" else "on", str(refused))
        return ""
    return said
