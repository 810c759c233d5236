"""Orders: the list, and one order from its draft until nothing more of it will come."""

from collections.abc import Callable, Sequence
from datetime import date, datetime
from typing import Any, Final

from django.contrib import messages
from django.core.paginator import Paginator
from django.db import transaction
from django.db.models import Case, Count, F, IntegerField, Min, Q, QuerySet, Sum, Value, When
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from inventory.forms.orders import AddLineForm, BecauseForm, DraftForm
from inventory.models import (
    Movement,
    PurchaseOrder,
    PurchaseOrderLine,
    Receipt,
    ReceiptLine,
    SupplierPart,
)
from inventory.quantities import format_money
from inventory.services import StockRefused, in_words
from inventory.services.buying import (
    cancel_rest,
    close_order,
    looked_at,
    refuse_unless_seen,
    send_order,
    set_draft_line,
    set_note,
    to_come_steps,
)
from inventory.services.buying_times import late_orders
from inventory.views.common import draw, signed_in

ROWS: Final = 50
State = PurchaseOrder.State
Context = dict[str, Any]


@require_safe
def orders(request: HttpRequest) -> HttpResponse:
    """Orders that are open, the late ones first; all of them when asked or looked for."""
    today: date = request.today  # type: ignore[attr-defined]
    wanted = request.GET.get("q", "").replace("\0", "").strip()
    every = request.GET.get("all") == "yes"
    rows = _listed(today)
    if wanted:
        of_part = PurchaseOrderLine.objects.filter(part__number__iexact=wanted)
        number = int(wanted) if wanted.isascii() and wanted.isdigit() and len(wanted) < 9 else 0
        rows = rows.filter(
            Q(number=number)
            | Q(supplier__name__icontains=wanted)
            | Q(pk__in=of_part.values("order"))
        )
    elif not every:
        rows = rows.exclude(state=State.CLOSED)
    page = Paginator(rows, ROWS).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "q": wanted,
        "every": every,
        "today": today,
        "late": len(late_orders(today=today)),
        "any": bool(page.object_list) or PurchaseOrder.objects.exists(),
    }
    return draw(request, "inventory/orders.html", context)


def _listed(today: date) -> QuerySet[PurchaseOrder]:
    """Orders with what a row says: what it comes to, what is to come, since when it is late."""
    rest = Q(lines__in=PurchaseOrderLine.objects.to_come())
    return (
        PurchaseOrder.objects.select_related("supplier")
        .annotate(
            line_count=Count("lines", distinct=True),
            total_cents=Sum(F("lines__packs") * F("lines__pack_price_cents"), default=0),
            next_on=Min("lines__expected_on", filter=rest),
            late_lines=Count("lines", filter=rest & Q(lines__expected_on__lt=today), distinct=True),
            rank=Case(
                When(state=State.DRAFT, then=Value(1)),
                When(state=State.CLOSED, then=Value(2)),
                default=Value(0),
                output_field=IntegerField(),
            ),
        )
        .order_by("rank", F("next_on").asc(nulls_last=True), "-number")
    )


@require_http_methods(["GET", "HEAD", "POST"])
def order(request: HttpRequest, order: int) -> HttpResponse:
    """One order; sent: a draft is changed or sent, or what has not come is given up."""
    now = timezone.now()
    shown = get_order(order)
    act = request.POST.get("do", "") if request.method == "POST" else ""
    page = _Page(request, shown, now)
    acts: dict[str, Callable[[], str]] = {
        "keep": page.keep,
        "send": page.send,
        "add": page.add,
        "cancel": page.cancel,
        "close": page.close,
    }
    if act in acts and (done := acts[act]()):
        messages.success(request, done)
        return redirect("inventory:order", shown.number)
    return draw(request, "inventory/order.html", page.context())


def get_order(number: int) -> PurchaseOrder:
    """The order of an address; else a page that says so."""
    found = (
        PurchaseOrder.objects.select_related("supplier", "drafted_by", "sent_by", "closed_by")
        .filter(number=number)
        .first()
    )
    if found is None:
        raise Http404(f"There is no order {number}.")
    return found


class _Page:
    """One order as it is looked at, and what was sent about it: each act says what it did, or
    nothing where a form goes back."""

    def __init__(self, request: HttpRequest, shown: PurchaseOrder, now: datetime) -> None:
        self.request, self.order, self.now = request, shown, now
        self.today: date = request.today  # type: ignore[attr-defined]
        self.symbol: str = request.shop.currency  # type: ignore[attr-defined]
        self.lines = list(shown.lines.select_related("part", "order").order_by("pk"))
        self.sold = {
            each.part_id: each
            for each in SupplierPart.objects.filter(
                supplier=shown.supplier_id, part__in=[line.part_id for line in self.lines]
            ).prefetch_related("price_breaks")
        }
        self.draft = self._draft_form(None)
        self.adding = AddLineForm(supplier=shown.supplier)
        self.because = BecauseForm()

    def _draft_form(self, data: Any) -> DraftForm:
        return DraftForm(
            data,
            lines=self.lines,
            sold=self.sold,
            today=self.today,
            now=self.now,
            initial={"note": self.order.note, "seen": looked_at(self.lines)},
        )

    def keep(self) -> str:
        return self._changed(send=False)

    def send(self) -> str:
        self.order.refresh_from_db()
        if self.order.state in PurchaseOrder.UNDER_WAY:
            return f"Order {self.order.number} is sent."  # the same page sent twice
        return self._changed(send=True)

    def _changed(self, *, send: bool) -> str:
        """Change the lines, and send: all of it or nothing."""
        self.draft = form = self._draft_form(self.request.POST)
        if not form.is_valid():
            return ""
        part_of = None
        try:
            with transaction.atomic():
                # Kept twice, the second changes nothing and has nothing to be asked about.
                if send or form.packs():
                    refuse_unless_seen(order=self.order, seen=form.cleaned_data["seen"])
                set_note(order=self.order, note=form.cleaned_data["note"])
                for part_of, packs in form.packs().items():
                    set_draft_line(order=self.order, part=part_of, packs=packs)
                part_of = None
                if send and not self._is_too_small(form):
                    send_order(
                        order=self.order,
                        expected=form.promised(),
                        author=signed_in(self.request),
                        at=self.now,
                    )
                elif send:
                    transaction.set_rollback(True)
        except StockRefused as refused:
            pk = next((line.pk for line in self.lines if line.part == part_of), None)
            form.add_error(f"packs-{pk}" if pk else None, str(refused))
        if form.errors:
            return ""
        sent = f"Order {self.order.number} is sent: from now on it counts as on order."
        return sent if send else "The draft is kept."

    def _is_too_small(self, form: DraftForm) -> bool:
        """Ask before less is sent than the supplier takes."""
        lacks = self._lacks_cents(self.order.lines.all())
        if lacks and not form.cleaned_data["sure"]:
            least = format_money(self.order.supplier.least_order_cents, self.symbol)
            form.add_error(
                "sure",
                f"{format_money(lacks, self.symbol)} lacks to their least order of {least}.",
            )
        return bool(form.errors)

    def _lacks_cents(self, lines: Sequence[PurchaseOrderLine] | QuerySet[PurchaseOrderLine]) -> int:
        total = sum(line.price_cents for line in lines)
        return max(0, self.order.supplier.least_order_cents - total) if total else 0

    def add(self) -> str:
        self.adding = form = AddLineForm(self.request.POST, supplier=self.order.supplier)
        if not form.is_valid():
            return ""
        part, packs = form.cleaned_data["part"], form.cleaned_data["packs"]
        already = next((line.packs for line in self.lines if line.part_id == part.pk), 0)
        try:
            set_draft_line(order=self.order, part=part, packs=already + packs)
        except StockRefused as refused:
            form.add_error("packs", str(refused))
            return ""
        return f"{part} is in the order."

    def cancel(self) -> str:
        self.because = form = BecauseForm(self.request.POST)
        if not form.is_valid():
            return ""
        line = next((each for each in self.lines if each.pk == form.cleaned_data["line"]), None)
        if line is None:
            form.add_error(None, "That line is not in this order any more.")
            return ""
        return self._given_up(
            lambda who: cancel_rest(line=line, because=form.cleaned_data["because"], **who),
            f"The rest of {line.part} will not come.",
        )

    def close(self) -> str:
        self.because = form = BecauseForm(self.request.POST)
        if not form.is_valid():
            return ""
        said = "dropped" if self.order.state == State.DRAFT else "closed"
        return self._given_up(
            lambda who: close_order(order=self.order, because=form.cleaned_data["because"], **who),
            f"Order {self.order.number} is {said}.",
        )

    def _given_up(self, do: Callable[[dict[str, Any]], PurchaseOrder], said: str) -> str:
        try:
            do({"author": signed_in(self.request), "at": self.now})
        except StockRefused as refused:
            self.because.add_error("because", str(refused))
            return ""
        return said

    def context(self) -> Context:
        total = sum(line.price_cents for line in self.lines)
        return {
            "order": self.order,
            "cells": self._cells(total),
            "is_draft": self.order.state == State.DRAFT,
            "is_under_way": self.order.state in PurchaseOrder.UNDER_WAY,
            "draft": self.draft,
            "seen": looked_at(self.lines),
            "rows": [
                {"line": line, "packs": packs, "day": day, **self._row(line)}
                for line, packs, day in self.draft.rows()
            ],
            "adding": self.adding,
            "because": self.because,
            "because_of": self.because.data.get("line", "") if self.because.is_bound else None,
            "lost": self._refused_of_what_is_gone(),
            "total_cents": total,
            "lacks_cents": self._lacks_cents(self.lines),
            "to_come": any(to_come_steps(line) for line in self.lines),
            "deliveries": _deliveries(self.order),
            "today": self.today,
        }

    def _refused_of_what_is_gone(self) -> list[str]:
        """What was refused of a line that waits for nothing any more, or of a closed order."""
        if not self.because.is_bound:
            return []
        waiting = {str(line.pk) for line in self.lines if to_come_steps(line)}
        if self.order.state != State.CLOSED and self.because.data.get("line", "") in {"", *waiting}:
            return []
        return [str(error) for errors in self.because.errors.values() for error in errors]

    def _cells(self, total: int) -> list[tuple[str, str]]:
        cells = [("State", self.order.get_state_display()), ("Lines", str(len(self.lines)))]
        if total:
            cells.append(("In all", format_money(total, self.symbol)))
        return cells

    def _row(self, line: PurchaseOrderLine) -> Context:
        part, rest = line.part, to_come_steps(line)
        is_late = bool(rest and line.expected_on and line.expected_on < self.today)
        sold = self.sold.get(line.part_id)
        return {
            "ordered": in_words(part, line.quantity_steps),
            "pack": in_words(part, line.pack_steps),
            "is_packed": line.pack_steps != part.steps_per_unit,
            "came": in_words(part, line.received_steps) if line.received_steps else "",
            "rest": in_words(part, rest) if rest else "",
            "given_up": in_words(part, line.cancelled_steps) if line.cancelled_steps else "",
            "late_days": (self.today - line.expected_on).days
            if is_late and line.expected_on
            else 0,
            "prices": [
                f"from {each.from_packs}: {format_money(each.pack_price_cents, self.symbol)}"
                for each in sold.price_breaks.all()
                if each.from_packs > 1
            ]
            if sold
            else [],
        }


def _deliveries(order: PurchaseOrder) -> list[Context]:
    """What came, by packing slip, with what each lot cost as it lies in the books."""
    rows = list(
        ReceiptLine.objects.filter(order_line__order=order)
        .select_related("receipt__author", "lot__part")
        .order_by("-receipt__received_at", "pk")
    )
    receipts = {
        movement.lot_id: movement
        for movement in Movement.objects.filter(
            kind=Movement.Kind.RECEIPT, lot__in=[row.lot_id for row in rows]
        ).select_related("location", "reversed_by")
    }
    found: dict[int, Context] = {}
    for row in rows:
        receipt: Receipt = row.receipt
        movement = receipts[row.lot_id]
        of_slip = found.setdefault(receipt.pk, {"receipt": receipt, "rows": []})
        of_slip["rows"].append(
            {
                "line": row,
                "lot": row.lot,
                "part": row.lot.part,
                "place": movement.location,
                "quantity": in_words(row.lot.part, movement.quantity_steps),
                "landed_cents": movement.value_cents,
                "is_reversed": hasattr(movement, "reversed_by"),
            }
        )
    return list(found.values())
