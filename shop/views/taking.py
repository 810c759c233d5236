"""Take a part for a sheet from the part's own page, where a scanned label leads."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from inventory.models import Balance, Location, Part
from inventory.services import NotEnoughOnHand, StockRefused, in_words
from inventory.views.common import draw, get_part, lying, part_page
from shop.forms.taking import TakeForm, TakePartForm
from shop.http import PageRequest
from shop.models import Person, RigDrawer, Role, ServiceSheet
from shop.services import sheet_parts
from shop.services.refusals import SheetRefused


@require_http_methods(["GET", "HEAD", "POST"])
def take_part(request: PageRequest, number: str) -> HttpResponse:
    """Some of a part into the tray of an open sheet; the person's own sheets come first."""
    now = timezone.now()
    part = get_part(number)
    sheets = sheets_for(request.user)
    form = TakePartForm(
        request.POST if request.method == "POST" else None,
        now=now,
        part=part,
        sheets=sheets,
        balances=_takeable(part, sheets, request),
        is_manager=request.user.role == Role.MANAGER,
    )
    if request.method == "POST" and form.is_valid():
        sheet = form.cleaned_data["sheet"]
        if put_in_tray(form, sheet=sheet, part=part, author=request.user):
            what = in_words(part, form.cleaned_data["quantity"])
            messages.success(request, f"{what} of {part} in the tray of sheet {sheet}.")
            return redirect(f"{reverse('shop:work', args=[sheet.number])}#parts")
    context = part_page(request, part, form, "Take for a sheet", "Take it to the tray")
    if not sheets:
        context["intro"] = "No sheet is open, so there is nothing to take it for."
    elif not form.fields["place"].queryset.exists():  # type: ignore[attr-defined]
        context["intro"] = "None of it lies where a sheet may take from."
    return draw(request, "inventory/form.html", context)


def put_in_tray(form: TakeForm, *, sheet: ServiceSheet, part: Part, author: Person) -> bool:
    """Take what a clean form says into the tray of a sheet; False: it says beside which field
    that was refused."""
    data = form.cleaned_data
    try:
        sheet_parts.add_part(
            sheet=sheet,
            part=part,
            location=data["place"],
            quantity_steps=data["quantity"],
            author=author,
            at=form.now,
            request_id=data["request_id"],
            expired_reason=data.get("expired_reason", ""),
        )
    except NotEnoughOnHand as refused:
        form.add_error("quantity", str(refused))
    except SheetRefused as refused:
        form.add_error("place", str(refused))
    except StockRefused as refused:
        form.add_error(None, str(refused))
    return not form.errors


def sheets_for(person: Person) -> list[ServiceSheet]:
    """The open sheets, the person's own first, of these what is under way first."""
    order = [
        ServiceSheet.State.UNDER_WAY,
        ServiceSheet.State.HANDED_OUT,
        ServiceSheet.State.DRAFTED,
    ]
    found = ServiceSheet.objects.open().select_related("rig", "component", "technician")
    return sorted(
        found,
        key=lambda each: (
            each.technician_id != person.pk,
            order.index(ServiceSheet.State(each.state)),
            -each.number,
        ),
    )


def _takeable(part: Part, sheets: list[ServiceSheet], request: PageRequest) -> list[Balance]:
    """Where a sheet may take it from: in date before expired, bins before drawers."""
    rigs = {each.rig_id for each in sheets if each.rig_id}
    drawers = set(RigDrawer.objects.filter(rig__in=rigs).values_list("location", flat=True))
    found = [
        each
        for each in lying(part)
        if each.location.kind == Location.Kind.BIN or each.location_id in drawers
    ]
    return sorted(
        found,
        key=lambda each: (
            each.lot.expires_on < request.today,
            each.location.kind != Location.Kind.BIN,
            each.location.code,
        ),
    )
