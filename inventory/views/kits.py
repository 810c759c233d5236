"""What is in a kit; making kits and breaking them."""

from datetime import date
from typing import Any, Final

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from inventory.forms.fields import SureForm
from inventory.forms.kits import Alternates, RobbedForm, RobForm
from inventory.forms.moving import KitForm, LineHere
from inventory.forms.parts import KitLineForm, KitLines
from inventory.models import KitAlternate, Location, Part, RobbedKit
from inventory.quantities import to_units
from inventory.services import (
    AlternateSpec,
    KitContainsItself,
    KitLineSpec,
    StockRefused,
    break_kit,
    in_words,
    make_kit,
    make_whole,
    missing_from,
    rob_kit,
    set_kit_lines,
    take_apart,
    whole_kits,
)
from inventory.services.naming import KnownParts, slips
from inventory.services.robbed import missing_from_each
from inventory.views.common import (
    draw,
    get_part,
    is_sound,
    lying,
    move_form,
    part_page,
    promised,
    put_beside,
    signed_in,
    typed,
)

#: Empty rows under the lines of a kit, and how many one press of "More rows" adds.
SPARE_LINES: Final = 3


def get_kit(number: str) -> Part:
    """The kit of an address, else a page that says there is none."""
    kit = get_part(number)
    if not kit.is_kit:
        raise Http404(f"{kit.number} is not a kit.")
    return kit


@require_http_methods(["GET", "HEAD", "POST"])
def kit_lines(request: HttpRequest, number: str) -> HttpResponse:
    """Say what is in a kit. "More rows" and "Save" are two buttons of one form."""
    now = timezone.now()
    kit = get_kit(number)
    # The kit itself may be named, so that the refusal can say what is wrong with it.
    known = KnownParts()
    sent = SureForm(typed(request), now=now)
    wants_rows = "more" in request.POST
    if wants_rows or request.method != "POST":
        rows = _typed_lines(request) if wants_rows else _lines_of(kit)
        formset = KitLines(initial=rows, prefix="lines", form_kwargs={"parts": known})
        formset.extra = SPARE_LINES
    else:
        formset = KitLines(request.POST, prefix="lines", form_kwargs={"parts": known})
        if sent.is_valid() and formset.is_valid() and _saved(request, kit, sent, formset):
            return redirect("inventory:part", kit.number)
    choices = [each for each in known.parts if not each.retired and each.pk != kit.pk]
    context = {"kit": kit, "sent": sent, "formset": formset, "choices": choices}
    status = 422 if request.method == "POST" and not wants_rows else 200
    return render(request, "inventory/kit_lines.html", context, status=status)


def _saved(request: HttpRequest, kit: Part, sent: SureForm, formset: Any) -> bool:
    """Set the lines; or put beside the line it is about why they cannot be."""
    specs = [
        KitLineSpec(form.part, form.quantity_steps) for form in formset if form.part is not None
    ]
    usual = dict(kit.lines.values_list("part", "quantity_steps"))
    sent.ask(slips([(each.part, each.quantity_steps) for each in specs], usual=usual))
    if sent.errors:
        return False
    try:
        set_kit_lines(kit=kit, lines=specs, author=signed_in(request), at=sent.now)
    except KitContainsItself as refused:
        _line_of(formset, refused).add_error("number", str(refused))
        return False
    except StockRefused as refused:
        sent.add_error(None, str(refused))
        return False
    number = len(specs)
    messages.success(request, f"{kit.number} holds {number} part{'' if number == 1 else 's'}.")
    return True


def _line_of(formset: Any, refused: KitContainsItself) -> KitLineForm:
    """The line by which the kit would come to contain itself: the second of the path."""
    named: KitLineForm
    for named in formset:
        if named.part is not None and named.part.number == refused.path[1]:
            break
    return named


def _lines_of(kit: Part) -> list[dict[str, str]]:
    lines = kit.lines.select_related("part").order_by("part__number")
    return [
        {
            "number": line.part.number,
            "quantity": f"{to_units(line.quantity_steps, line.part.steps_per_unit):f}",
        }
        for line in lines
    ]


def _typed_lines(request: HttpRequest) -> list[dict[str, Any]]:
    """What was typed into the lines so far, for a page with more of them."""
    rows = []
    for n in range(KitLines.absolute_max):
        row = {
            name: request.POST.get(f"lines-{n}-{name}", "")
            for name in ("number", "quantity", "remove")
        }
        if any(row.values()):
            rows.append(row)
    return rows


@require_http_methods(["GET", "HEAD", "POST"])
def kits(request: HttpRequest, number: str) -> HttpResponse:
    """Make kits from the parts in a place, or break kits into their parts."""
    now = timezone.now()
    kit = get_kit(number)
    form = move_form(KitForm, request, kit, now, lines=lines_with_promises(kit))
    if is_sound(request, form):
        try:
            done = _done(request, kit, form.cleaned_data)
        except StockRefused as refused:
            put_beside(form, refused, place="to_location")
        else:
            messages.success(request, done)
            return redirect("inventory:part", kit.number)
    return draw(
        request, "inventory/form.html", part_page(request, kit, form, "Make or break kits", "Do it")
    )


def lines_with_promises(kit: Part) -> list[LineHere]:
    """The lines of a kit with where each lies and to whom it is promised."""
    return [
        LineHere(
            part=line.part,
            quantity_steps=line.quantity_steps,
            balances=lying(line.part),
            promises=promised(line.part),
        )
        for line in kit.lines.select_related("part").order_by("part__number")
    ]


def _done(request: HttpRequest, kit: Part, data: dict[str, Any]) -> str:
    """Make or break, and say so."""
    common = {name: data[name] for name in ("location", "at", "request_id", "reason")}
    number = data["quantity"]
    if data["what"] == KitForm.MAKE:
        make_kit(kit=kit, quantity=number, author=signed_in(request), **common)
        return f"Made {in_words(kit, number)} of {kit.number} in {data['location']}."
    into = data["to_location"] or data["location"]
    break_kit(kit=kit, to_location=into, quantity=number, author=signed_in(request), **common)
    return f"Broke {in_words(kit, number)} of {kit.number}; its parts lie in {into}."


def kit_on_its_page(kit: Part, today: date) -> dict[str, Any]:
    """What a kit's page says of whole ones: how many, what one more needs, which are robbed."""
    if not kit.is_kit or not kit.lines.exists():
        return {}
    bins = list(Location.objects.shop_bins())
    found = whole_kits(kit=kit, places=bins, today=today)
    robbed = list(
        RobbedKit.objects.filter(kit=kit, ended_at__isnull=True)
        .select_related("lies_in", "tray", "kit", "found_by")
        .order_by("pk")
    )
    missing = missing_from_each(robbed)
    return {
        "whole_kits": found,
        "one_more_needs": [f"{in_words(part, steps)} of {part}" for part, steps in found.short],
        "robbed_kits": [
            {"row": row, "missing": [str(each) for each in missing[row.pk]]} for row in robbed
        ],
    }


@require_http_methods(["GET", "HEAD", "POST"])
def found_robbed(request: HttpRequest, number: str) -> HttpResponse:
    """Say that a kit lacks pieces: it is opened into a tray and counts as whole no more."""
    now = timezone.now()
    kit = get_kit(number)
    lines = list(kit.lines.select_related("part").order_by("part__number"))
    if not lines:
        raise Http404(f"Nobody has said yet what is in {kit.number}.")
    form = RobForm(typed(request), kit=kit, lines=lines, balances=lying(kit), now=now)
    if is_sound(request, form):
        data = {
            name: form.cleaned_data[name] for name in ("location", "at", "request_id", "reason")
        }
        try:
            robbed = rob_kit(kit=kit, missing=form.missing(), author=signed_in(request), **data)
        except StockRefused as refused:
            put_beside(form, refused, quantity="location", place="location")
        else:
            messages.success(
                request,
                f"One {kit.number} in {robbed.lies_in} counts as robbed. "
                f"Its pieces are booked in {robbed.tray}.",
            )
            return redirect("inventory:part", kit.number)
    return draw(
        request,
        "inventory/form.html",
        part_page(request, kit, form, "Found a robbed kit", "It is robbed"),
    )


@require_http_methods(["GET", "HEAD", "POST"])
def robbed_kit(request: HttpRequest, pk: int) -> HttpResponse:
    """Make a robbed kit whole, or take it apart."""
    now = timezone.now()
    robbed = RobbedKit.objects.select_related("kit", "lies_in", "tray").filter(pk=pk).first()
    if robbed is None:
        raise Http404("There is no such robbed kit.")
    kit = get_kit(robbed.kit.number)
    what = request.GET.get("do", "")
    given = {"initial": {"what": what}} if what in (RobbedForm.WHOLE, RobbedForm.APART) else {}
    form = RobbedForm(typed(request), robbed=robbed, now=now, **given)
    if is_sound(request, form):
        try:
            done = _settled(request, robbed, form.cleaned_data)
        except StockRefused as refused:
            put_beside(form, refused, quantity="location", place="location")
        else:
            messages.success(request, done)
            return redirect("inventory:part", kit.number)
    context = part_page(request, kit, form, "Robbed kit", "Do it")
    if robbed.ended_at is None:
        lacking = ", ".join(str(each) for each in missing_from(robbed)) or "nothing"
        context["intro"] = (
            f"From {robbed.lies_in}, its pieces in {robbed.tray}. Missing: {lacking}."
        )
    else:
        context["intro"] = "It was made whole or taken apart already."
    return draw(request, "inventory/form.html", context)


def _settled(request: HttpRequest, robbed: RobbedKit, data: dict[str, Any]) -> str:
    """Make whole or take apart, and say so."""
    common = {name: data[name] for name in ("at", "request_id", "reason")}
    place = data["location"]
    if data["what"] == RobbedForm.WHOLE:
        make_whole(robbed=robbed, fill_from=place, author=signed_in(request), **common)
        return f"One {robbed.kit.number} is whole again and lies in {robbed.lies_in}."
    take_apart(robbed=robbed, to_location=place, author=signed_in(request), **common)
    return f"What was left of the {robbed.kit.number} lies in {place}."


@require_http_methods(["GET", "HEAD", "POST"])
def alternates(request: HttpRequest, number: str) -> HttpResponse:
    """Say what does instead of the lines of a kit, and what is tried first."""
    now = timezone.now()
    kit = get_kit(number)
    lines = list(kit.lines.select_related("part").order_by("pk"))
    if not lines:
        raise Http404(f"Nobody has said yet what is in {kit.number}.")
    known = KnownParts()
    own = {line.part.number: line.part for line in lines}
    given = {"parts": known, "lines": own}
    sent = SureForm(typed(request), now=now)
    if request.method == "POST":
        formset = Alternates(request.POST, prefix="others", form_kwargs=given)
        if (
            sent.is_valid()
            and formset.is_valid()
            and _alternates_saved(request, kit, sent, formset)
        ):
            return redirect("inventory:part", kit.number)
    else:
        formset = Alternates(initial=_alternates_of(kit), prefix="others", form_kwargs=given)
        formset.extra = SPARE_LINES
    choices = [each for each in known.parts if not each.retired and each.pk != kit.pk]
    context = {"kit": kit, "sent": sent, "formset": formset, "choices": choices}
    return draw(request, "inventory/kit_alternates.html", context)


def _alternates_of(kit: Part) -> list[dict[str, Any]]:
    rows = KitAlternate.objects.filter(line__kit=kit).select_related("line__part", "part")
    return [
        {
            "line": row.line.part.number,
            "number": row.part.number,
            "quantity": f"{to_units(row.quantity_steps, row.part.steps_per_unit):f}",
            "rank": row.rank,
        }
        for row in rows.order_by("line__part__number", "rank", "pk")
    ]


def _alternates_saved(request: HttpRequest, kit: Part, sent: SureForm, formset: Any) -> bool:
    """Set the alternates under the lines as they are; or put beside one why it cannot be."""
    said: dict[str, list[AlternateSpec]] = {}
    for form in formset:
        if form.part is not None:
            spec = AlternateSpec(form.part, form.quantity_steps, form.cleaned_data["rank"] or 1)
            said.setdefault(form.cleaned_data["line"], []).append(spec)
    named_before = KitAlternate.objects.filter(line__kit=kit).values_list("part", "quantity_steps")
    others = [(each.part, each.quantity_steps) for specs in said.values() for each in specs]
    sent.ask(slips(others, usual=dict(named_before)))
    if sent.errors:
        return False
    specs = [
        KitLineSpec(line.part, line.quantity_steps, tuple(said.get(line.part.number, ())))
        for line in kit.lines.select_related("part").order_by("pk")
    ]
    try:
        set_kit_lines(kit=kit, lines=specs, author=signed_in(request), at=sent.now)
    except KitContainsItself as refused:
        named = {form.part.number: form for form in formset if form.part is not None}
        at_fault = named.get(refused.path[1])
        if at_fault is None:
            sent.add_error(None, str(refused))
        else:
            at_fault.add_error("number", str(refused))
        return False
    except StockRefused as refused:
        sent.add_error(None, str(refused))
        return False
    number = sum(len(each) for each in said.values())
    messages.success(request, f"{kit.number} has {number} alternate{'' if number == 1 else 's'}.")
    return True
