"""What to buy now, of whom: each supplier's order is drafted by one button."""

from datetime import date
from typing import Any
from uuid import UUID, uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from inventory.models import Part, PurchaseOrder
from inventory.quantities import format_money
from inventory.sentences import Unit, buying_advice
from inventory.services import StockRefused, in_words
from inventory.services.buying import Wish, draft_order
from inventory.services.proposals import Proposal, ProposalLine, proposals
from inventory.tables import BuyingTable, suggested
from inventory.views.common import draw, signed_in


@require_http_methods(["GET", "HEAD", "POST"])
def buying(request: HttpRequest) -> HttpResponse:
    """What fell to its reorder point, by supplier; sent: what is ticked becomes a draft."""
    symbol: str = request.shop.currency  # type: ignore[attr-defined]
    today: date = request.today  # type: ignore[attr-defined]
    now = proposals(today=today)
    refused: dict[int, str] = {}
    if request.method == "POST":
        answer = _draft(request, now.by_supplier)
        if isinstance(answer, HttpResponse):
            return answer
        refused = answer
    count = sum(len(each.lines) for each in now.by_supplier) + len(now.unsold)
    groups = [
        _group(each, symbol, request.POST.getlist("part") if each.supplier.pk in refused else None)
        | {"refused": refused.get(each.supplier.pk, "")}
        for each in now.by_supplier
    ]
    context: dict[str, Any] = {
        "groups": groups,
        "count": count,
        "refused": refused.get(0, ""),
        "request_id": uuid4(),
    }
    if now.unsold:
        table = BuyingTable(now.unsold, symbol=symbol, orderable=False)
        context["unsold"] = table
    costs = [part.cost_of(suggested(part)) for part in now.unsold]
    costs += [
        line.proposed.price_cents or line.part.cost_of(line.proposed.quantity_steps)
        for each in now.by_supplier
        for line in each.lines
    ]
    if count:
        context["cost"] = format_money(sum(costs), symbol)
        context["unpriced"] = sum(1 for cost in costs if not cost)
    else:
        context["next"] = _next_in_words(today)
    return draw(request, "inventory/buying.html", context)


def _draft(request: HttpRequest, groups: tuple[Proposal, ...]) -> HttpResponse | dict[int, str]:
    """Draft what is ticked and go there; else by supplier what was refused, 0 where it is gone."""
    sent = request.POST
    try:
        request_id = UUID(sent.get("request_id", ""))
    except ValueError:
        return {0: "The page came incomplete. Send it again."}
    if earlier := PurchaseOrder.objects.filter(request_id=request_id).first():
        return redirect("inventory:order", earlier.number)
    wanted = sent.get("supplier")
    proposal = next((each for each in groups if str(each.supplier.pk) == wanted), None)
    if proposal is None:
        return {0: "That was ordered meanwhile, or is wanted no more. Look again."}
    pk = proposal.supplier.pk
    ticked = set(sent.getlist("part"))
    chosen = [line for line in (*proposal.lines, *proposal.fillers) if str(line.part.pk) in ticked]
    if not chosen:
        return {pk: "Tick what to order."}
    try:
        order = draft_order(
            supplier=proposal.supplier,
            wishes=[Wish(line.part, line.proposed.quantity_steps) for line in chosen],
            author=signed_in(request),
            at=timezone.now(),
            request_id=request_id,
        )
    except StockRefused as refused:
        return {pk: str(refused)}
    messages.success(request, f"Order {order.number} is drafted. Look it over, then send it.")
    return redirect("inventory:order", order.number)


def _group(proposal: Proposal, symbol: str, ticked: list[str] | None) -> dict[str, Any]:
    """One supplier's proposal as the page shows it; ticked: as a person left it, None at first."""
    return {
        "proposal": proposal,
        "price": format_money(proposal.price_cents, symbol) if proposal.price_cents else "",
        "lacks": format_money(proposal.lacks_cents, symbol) if proposal.lacks_cents else "",
        "least": format_money(proposal.supplier.least_order_cents, symbol),
        "lines": [_line(each, symbol, ticked, at_first=True) for each in proposal.lines],
        "fillers": [_line(each, symbol, ticked, at_first=False) for each in proposal.fillers],
    }


def _line(
    line: ProposalLine, symbol: str, ticked: list[str] | None, *, at_first: bool
) -> dict[str, Any]:
    part, proposed = line.part, line.proposed
    advice = buying_advice(
        unit=Unit(part.unit_name, part.steps_per_unit),
        usable_steps=part.usable_steps,  # type: ignore[attr-defined]
        on_order_steps=part.on_order_steps,  # type: ignore[attr-defined]
        expired_steps=part.expired_steps,
        reorder_point_steps=part.reorder_point_steps,  # type: ignore[attr-defined]
        order_up_to_steps=part.order_up_to_steps,  # type: ignore[attr-defined]
    )
    is_packed = proposed.pack_steps != part.steps_per_unit
    return {
        "part": part,
        "is_ticked": str(part.pk) in ticked if ticked is not None else at_first,
        "quantity": in_words(part, proposed.quantity_steps),
        "packs": f"{proposed.packs:,} × {in_words(part, proposed.pack_steps)}" if is_packed else "",
        "price": format_money(proposed.price_cents, symbol) if proposed.price_cents else "",
        "why": advice.rest,
        "saved": f"{proposed.packs:,} cost {format_money(proposed.saved_cents, symbol)} less in "
        f"all than {proposed.needed_packs:,}."
        if proposed.saved_cents
        else "",
    }


def _next_in_words(today: date) -> str:
    """The part that is closest to its reorder point, as the next thing that will come."""
    following = Part.objects.next_to_reorder_point(today=today).first()
    if following is None:
        return "No part has a reorder point yet."
    here = in_words(following, following.usable_steps)  # type: ignore[attr-defined]
    point = in_words(following, following.reorder_point_steps)  # type: ignore[attr-defined]
    return f"The next is {following}, with {here} on hand and a reorder point of {point}."
