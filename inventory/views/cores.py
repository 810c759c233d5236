"""Old parts that suppliers pay for: which must go back by when, and what is still to be paid."""

from collections.abc import Callable
from datetime import date, datetime
from typing import Any, Final

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, F, Q, Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from inventory.forms.cores import CoreForm
from inventory.models import Core
from inventory.services import StockRefused, in_words
from inventory.services.buying_receipts import credit_core, send_core_back, set_back_by
from inventory.views.common import draw, signed_in

ROWS: Final = 50
#: What lies here before what went back, and that before what was paid; what must go first on top.
BY_DAY: Final[tuple[Any, ...]] = (
    F("credited_on").asc(nulls_first=True),
    F("sent_back_on").asc(nulls_first=True),
    F("back_by").asc(nulls_last=True),
    "owed_since",
    "pk",
)
GONE: Final = "Those old parts are owed no more: their delivery was taken back."


@require_http_methods(["GET", "HEAD", "POST"])
def cores(request: HttpRequest) -> HttpResponse:
    """What is owed back, the first to be due on top; sent: one row is changed."""
    today: date = request.today  # type: ignore[attr-defined]
    symbol: str = request.shop.currency  # type: ignore[attr-defined]
    every = request.GET.get("all") == "yes"
    refused: tuple[Core, CoreForm] | None = None
    if request.method == "POST":
        core = _asked_for(request.POST.get("core", ""))
        if core is None:
            messages.error(request, GONE)
            return redirect(request.get_full_path())
        form = CoreForm(request.POST, core=core, today=today, symbol=symbol)
        if _changed(request, core, form, timezone.now()):
            return redirect(request.get_full_path())
        refused = core, form
    open_rows = Core.objects.filter(credited_on__isnull=True)
    rows = (Core.objects.all() if every else open_rows).select_related("supplier", "part")
    page = Paginator(rows.order_by(*BY_DAY), ROWS).get_page(request.GET.get("page"))
    shown = list(page.object_list)
    if refused is not None and refused[0] not in shown:
        shown.insert(0, refused[0])
    past = Q(sent_back_on__isnull=True, back_by__lt=today)
    waiting = open_rows.aggregate(
        cents=Sum("credit_cents", default=0), count=Count("pk"), past=Count("pk", filter=past)
    )
    context = {
        "rows": [
            {
                "core": each,
                "quantity": in_words(each.part, each.quantity_steps),
                "form": refused[1]
                if refused is not None and each == refused[0]
                else CoreForm(core=each, today=today, symbol=symbol),
                "is_overdue": bool(
                    each.back_by and each.back_by < today and each.sent_back_on is None
                ),
            }
            for each in shown
        ],
        "page": page,
        "waiting": waiting,
        "every": every,
        "any": bool(shown) or Core.objects.exists(),
    }
    return draw(request, "inventory/cores.html", context)


def _asked_for(pk: str) -> Core | None:
    if not pk.isascii() or not pk.isdecimal() or len(pk) > 18:
        return None
    return Core.objects.select_related("supplier", "part").filter(pk=int(pk)).first()


def _changed(request: HttpRequest, core: Core, form: CoreForm, now: datetime) -> bool:
    """Do what the button says and say so; False where the row goes back with what is wrong."""
    do = request.POST.get("do", "")
    sound = form.is_valid()
    if _is_done(request, core, form, do):
        return True
    if do == "paid" and core.sent_back_on is None:
        form.add_error(None, "They are credited once they went back.")
        return False
    data = form.cleaned_data
    who: dict[str, Any] = {"author": signed_in(request), "at": now}
    acts: dict[str, tuple[Callable[[], Core], str]] = {
        "until": (
            lambda: set_back_by(core=core, back_by=data["back_by"], **who),
            "The day is kept." if data.get("back_by") else "They may go back on any day.",
        ),
        "sent": (
            lambda: send_core_back(core=core, on=data["on"], **who),
            f"The old {core.part.name} went back to {core.supplier}.",
        ),
        "paid": (
            lambda: credit_core(core=core, on=data["on"], cents=data["amount"], **who),
            f"{core.supplier} paid for the old {core.part.name}.",
        ),
    }
    if do not in acts:
        form.add_error(None, "The page came incomplete. Send it again.")
        return False
    act, said = acts[do]
    if not sound:
        return False
    try:
        act()
    except Core.DoesNotExist:
        messages.error(request, GONE)
        return True
    except StockRefused as refused:
        core.refresh_from_db(fields=["sent_back_on", "credited_on", "credited_cents"])
        if _is_done(request, core, form, do):
            return True
        form.add_error("back_by" if do == "until" else "on", str(refused))
        return False
    messages.success(request, said)
    return True


def _is_done(request: HttpRequest, core: Core, form: CoreForm, do: str) -> bool:
    """Say of what was done before what stands: as sent twice, or as somebody else said it."""
    data = form.cleaned_data
    if do in {"sent", "until"} and core.sent_back_on is not None:
        is_same = do == "sent" and data.get("on") == core.sent_back_on
        said = f"They went back on {core.sent_back_on:%Y-%m-%d} already."
    elif do == "paid" and core.credited_on is not None:
        is_same = (data.get("on"), data.get("amount")) == (core.credited_on, core.credited_cents)
        said = f"They were credited on {core.credited_on:%Y-%m-%d} already."
    else:
        return False
    (messages.success if is_same else messages.error)(request, said)
    return True
