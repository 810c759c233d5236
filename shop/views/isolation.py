"""The isolation points of a rig: what its sheets ask to be locked out, and what stood before."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from equipment.models import ComponentKind, Rig
from shop import isolation
from shop.forms.isolation import PointForm, told
from shop.http import PageRequest
from shop.models import IsolationPoint
from shop.services import isolating


@require_http_methods(["GET", "HEAD", "POST"])
def points(request: PageRequest, number: int) -> HttpResponse:
    """All points of a rig, the questions that fitting something raised, and its history."""
    rig = get_object_or_404(Rig, number=number)
    if request.method == "POST":
        made = isolating.keep_beginning(rig=rig, author=request.user, at=timezone.now())
        if made:
            messages.success(request, f"{made} points are kept for rig {rig}. Change what differs.")
        return redirect("shop:isolation", number)
    own = isolating.standing(rig.pk)
    asked = isolating.questions(rig.pk)
    kinds = {kind.name: kind for kind in ComponentKind.objects.filter(name__in=asked)}
    ended = (
        IsolationPoint.objects.filter(rig=rig, ended_at__isnull=False)
        .select_related("author", "ended_by", "followed_by")
        .order_by("-ended_at", "-pk")
    )
    return render(
        request,
        "shop/isolation.html",
        {
            "rig": rig,
            "own": own,
            "beginning": [] if own else _named(isolation.starting_points(_fitted(rig))),
            "questions": [kinds[name] for name in asked if name in kinds],
            "ended": ended,
            "hours": int(isolation.PROOF_HOLDS.total_seconds() // 3600),
        },
    )


@require_http_methods(["GET", "HEAD", "POST"])
def new_point(request: PageRequest, number: int) -> HttpResponse:
    """Add a point; `?kind=` begins it for what was fitted without one."""
    rig = get_object_or_404(Rig, number=number)
    form = PointForm(request.POST if request.method == "POST" else None, initial=_begun(request))
    if request.method == "POST" and form.is_valid():
        try:
            isolating.add_point(
                rig=rig, fields=form.fields_said(), author=request.user, at=timezone.now()
            )
        except ValidationError as refusal:
            _tell(form, refusal)
        else:
            return redirect("shop:isolation", number)
    return _form_page(request, rig, form, None)


@require_http_methods(["GET", "HEAD", "POST"])
def point(request: PageRequest, number: int, pk: int) -> HttpResponse:
    """Change a point, or take it out; what stood is kept."""
    rig = get_object_or_404(Rig, number=number)
    row = get_object_or_404(IsolationPoint, pk=pk, rig=rig)
    form = PointForm(request.POST if request.method == "POST" else None, initial=told(row))
    who: dict[str, Any] = {"author": request.user, "at": timezone.now()}
    is_out = request.method == "POST" and request.POST.get("act") == "out"
    if is_out or (request.method == "POST" and form.is_valid()):
        try:
            if is_out:
                isolating.take_out_point(point=row, **who)
            else:
                isolating.change_point(point=row, fields=form.fields_said(), **who)
        except isolating.PointRefused as refusal:
            messages.error(request, str(refusal))
        except ValidationError as refusal:
            _tell(form, refusal)
            return _form_page(request, rig, form, row)
        return redirect("shop:isolation", number)
    if row.ended_at is not None and request.method != "POST":
        messages.error(request, f"“{row}” stands no longer. What stands now is listed here.")
        return redirect("shop:isolation", number)
    return _form_page(request, rig, form, row)


def _form_page(
    request: PageRequest, rig: Rig, form: PointForm, row: IsolationPoint | None
) -> HttpResponse:
    context = {"rig": rig, "form": form, "point": row}
    return render(
        request, "shop/isolation_point.html", context, status=422 if form.is_bound else 200
    )


def _tell(form: PointForm, refusal: ValidationError) -> None:
    """What only the row itself can know, beside its field or over the form."""
    if hasattr(refusal, "error_dict"):
        for name, errors in refusal.error_dict.items():
            form.add_error(name if name in form.fields else None, errors)
    else:
        form.add_error(None, refusal)


def _begun(request: PageRequest) -> dict[str, Any]:
    asked = request.GET.get("kind", "")
    kind = ComponentKind.objects.filter(pk=int(asked)).first() if _is_key(asked) else None
    if kind is None:
        return {}
    return {"name": str(kind).capitalize(), "kinds": [kind.pk], "energy": kind.flow or "electric"}


def _is_key(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) < 10


def _fitted(rig: Rig) -> list[isolation.Fitted]:
    return isolating.fitted_in(rig.pk)


def _named(points: tuple[isolation.Point, ...]) -> list[dict[str, Any]]:
    """Points that are not the rig's own yet, as the list shows them."""
    proofs = dict(IsolationPoint.Proof.choices)
    energies = dict(IsolationPoint.Energy.choices)
    return [
        {
            "name": each.name,
            "side": each.side,
            "isolate": each.isolate,
            "release": each.release,
            "verify": each.verify,
            "unit": each.unit,
            "source": each.source,
            "get_energy_display": energies[each.energy],
            "get_verify_by_display": proofs[each.verify_by],
        }
        for each in points
    ]
