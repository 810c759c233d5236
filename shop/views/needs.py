"""The parts that a service needs."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from equipment.models import Service
from inventory.services import in_words
from shop.forms.sheets import NeedForm
from shop.http import PageRequest
from shop.models import PartsNeed
from shop.services.needs import NeedRefused, drop_need, set_need


def service_parts(request: PageRequest, pk: int) -> HttpResponse:
    """What a service needs; a form adds a part or changes its quantity."""
    service = get_object_or_404(Service.objects.select_related("kind"), pk=pk)
    form = NeedForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        part, steps = form.found, form.cleaned_data["quantity"]
        assert part is not None  # the form is valid
        try:
            set_need(service=service, part=part, quantity_steps=steps)
        except NeedRefused as refusal:
            form.add_error("quantity", str(refusal))
        else:
            messages.success(request, f"{service} needs {in_words(part, steps)} of {part}.")
            return redirect("shop:service_parts", pk)
    needs = [
        {"need": need, "quantity": in_words(need.part, need.quantity_steps)}
        for need in service.parts_needs.select_related("part").order_by("part__number")
    ]
    return render(
        request,
        "shop/service_parts.html",
        {"service": service, "needs": needs, "form": form},
        status=422 if form.errors else 200,
    )


@require_POST
def drop_service_part(request: PageRequest, pk: int, need_pk: int) -> HttpResponse:
    need = get_object_or_404(PartsNeed, pk=need_pk, service=pk)
    drop_need(need=need)
    messages.success(request, f"{need.part} is no longer needed for it.")
    return redirect("shop:service_parts", pk)
