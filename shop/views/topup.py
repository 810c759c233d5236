"""What the rigs' drawers lack, moved in with one button; what each should hold, and why."""

from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.models import Location
from inventory.services import StockRefused, in_words
from shop import words
from shop.forms.topup import LeavingForm, MovedForm, TargetForm
from shop.http import PageRequest, page_size_of, pdf_response
from shop.models import RigDrawer
from shop.paper.pick_list import PickList, PickRig, PickRow, pick_list_pdf
from shop.services import drawer_targets, topping_up


@require_safe
def drawers(request: PageRequest) -> HttpResponse:
    """The pick list for all rigs, or for those that leave before a day."""
    form = LeavingForm(request.GET or None)
    status = 422 if form.is_bound and not form.is_valid() else 200
    return _list(request, form, status=status)


@require_safe
def drawers_file(request: PageRequest) -> HttpResponse:
    """The same to carry along the shelves."""
    form = LeavingForm(request.GET or None)
    if form.is_bound and not form.is_valid():
        return _list(request, form, status=422)
    before = form.cleaned_data["before"] if form.is_bound else None
    local = timezone.localtime()
    found = topping_up.lists(today=request.today, before=before)
    paper = PickList(
        shop_name=request.shop.name,
        asked=f"Rigs that leave before {words.day(before, today=request.today)}"
        if before
        else "All rigs",
        printed_text=f"Printed {local.day} {local:%b %Y %H:%M}",
        rigs=tuple(
            PickRig(
                number=each.rig.number,
                title=f"{each.rig.name or each.rig}, drawer {each.drawer.code}",
                where=each.place.where_text(),
                rows=tuple(
                    PickRow(
                        part=row.part.name,
                        number=row.part.number,
                        keep=row.keep,
                        here=row.here,
                        take=row.from_text,
                        short=row.short,
                    )
                    for row in each.rows
                ),
            )
            for each in found
            if each.rows
        ),
    )
    return pdf_response(
        pick_list_pdf(paper, page_size=page_size_of(request)),
        name="pick-list",
    )


@require_POST
def top_up(request: PageRequest, number: int) -> HttpResponse:
    """Post what was moved into the drawer of a rig."""
    drawer = get_object_or_404(
        RigDrawer.objects.select_related("rig", "location"), rig__number=number
    )
    now = timezone.now()
    form = MovedForm(request.POST, now=now)
    if form.is_valid():
        sent = form.cleaned_data["request_id"]
        if not topping_up.was_sent_before(sent):
            form.ask(topping_up.promise_questions(form.free_picks, today=request.today))
        if not form.errors:
            try:
                topping_up.top_up(
                    rig=drawer.rig,
                    drawer=drawer.location,
                    picks=form.picks,
                    author=request.user,
                    at=now,
                    request_id=sent,
                )
            except StockRefused as refused:
                form.add_error(None, str(refused))
            else:
                messages.success(request, f"The drawer of {drawer.rig} is filled.")
                return redirect("shop:drawers")
    return _list(request, LeavingForm(None), refused=(drawer.rig_id, form), status=422)


def _list(
    request: PageRequest,
    form: LeavingForm,
    *,
    refused: tuple[int, MovedForm] | None = None,
    status: int = 200,
) -> HttpResponse:
    before = form.cleaned_data.get("before") if form.is_bound and form.is_valid() else None
    found = topping_up.lists(today=request.today, before=before)
    lacking = [each for each in found if each.rows]
    context = {
        "form": form,
        "rigs": [
            {
                "each": each,
                "request_id": uuid4(),
                "refused": refused[1] if refused and refused[0] == each.rig.pk else None,
            }
            for each in lacking
        ],
        "gone": refused[1] if refused and refused[0] not in {e.rig.pk for e in lacking} else None,
        "full": [each for each in found if not each.rows],
        "query": f"?before={before.isoformat()}" if before else "",
    }
    return render(request, "shop/topup.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
def drawer(request: PageRequest, code: str) -> HttpResponse:
    """What one drawer should hold and why; sent: a number by hand, or the computed one again."""
    place = Location.objects.drawers().filter(code=code).first()
    if place is None:
        raise Http404(f"There is no rig drawer {code}.")
    now = timezone.localtime()
    first: dict[str, Any] = {"part": request.GET.get("part", "")}
    form = TargetForm(request.POST if request.method == "POST" else None, now=now, initial=first)
    here = reverse("shop:drawer", args=[place.code])
    if request.method == "POST" and "follow" in request.POST:
        if form.found and drawer_targets.follow_computed(
            part=form.found, drawer=place, author=request.user, at=now
        ):
            messages.success(request, f"{form.found} follows the computed number again.")
            return redirect(here)
        form.add_error(None, "That part has no number by hand in this drawer.")
    elif request.method == "POST" and form.is_valid():
        asked = form.cleaned_data
        try:
            drawer_targets.set_target(
                part=asked["part"],
                drawer=place,
                steps=asked["quantity"],
                reason=asked["reason"],
                review_on=asked["review_on"],
                author=request.user,
                at=now,
            )
        except StockRefused as refused:
            form.add_error(None, str(refused))
        else:
            much = in_words(asked["part"], asked["quantity"]) if asked["quantity"] else "none"
            messages.success(request, f"{place} holds {much} of {asked['part']}, by hand.")
            return redirect(here)
    rides = RigDrawer.objects.filter(location=place).select_related("rig").first()
    context = {
        "place": place,
        "rig": rides.rig if rides else None,
        "form": form,
        "rows": [
            {
                "kept": each,
                "target": in_words(each.part, each.target_steps) if each.target_steps else "none",
                "here": in_words(each.part, each.here_steps) if each.here_steps else "none",
                "why": each.why_text(request.shop.currency),
            }
            for each in drawer_targets.kept_in([place], today=request.today).get(place.pk, ())
        ],
    }
    return render(request, "shop/topup_drawer.html", context, status=422 if form.errors else 200)
