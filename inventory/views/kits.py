"""What is in a kit; making kits and breaking them."""

from typing import Any, Final

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from inventory.forms.fields import SentForm
from inventory.forms.moving import KitForm
from inventory.forms.parts import KitLineForm, KitLines
from inventory.models import Part
from inventory.quantities import to_units
from inventory.services import (
    KitContainsItself,
    KitLineSpec,
    StockRefused,
    break_kit,
    in_words,
    make_kit,
    set_kit_lines,
)
from inventory.views.common import (
    draw,
    get_part,
    is_sound,
    move_form,
    part_page,
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
    known = {each.number.casefold(): each for each in Part.objects.order_by("number")}
    sent = SentForm(typed(request), now=now)
    wants_rows = "more" in request.POST
    if wants_rows or request.method != "POST":
        rows = _typed_lines(request) if wants_rows else _lines_of(kit)
        formset = KitLines(initial=rows, prefix="lines", form_kwargs={"parts": known})
        formset.extra = SPARE_LINES
    else:
        formset = KitLines(request.POST, prefix="lines", form_kwargs={"parts": known})
        if sent.is_valid() and formset.is_valid() and _saved(request, kit, sent, formset):
            return redirect("inventory:part", kit.number)
    choices = [each for each in known.values() if not each.retired and each.pk != kit.pk]
    context = {"kit": kit, "sent": sent, "formset": formset, "choices": choices}
    status = 422 if request.method == "POST" and not wants_rows else 200
    return render(request, "inventory/kit_lines.html", context, status=status)


def _saved(request: HttpRequest, kit: Part, sent: SentForm, formset: Any) -> bool:
    """Set the lines; or put beside the line it is about why they cannot be."""
    specs = [
        KitLineSpec(form.part, form.quantity_steps) for form in formset if form.part is not None
    ]
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
    form = move_form(KitForm, request, kit, now)
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
