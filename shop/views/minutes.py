"""How long a service takes: what it asks for, what its last doings took, and a number by hand."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from equipment.models import Service
from equipment.services.taking import set_minutes
from shop.forms.after import MinutesForm
from shop.http import PageRequest
from shop.planned_minutes import learnt, told_text
from shop.services.minutes import doings, told


@require_http_methods(["GET", "HEAD", "POST"])
def service_minutes(request: PageRequest, pk: int) -> HttpResponse:
    """The figures behind the planned minutes of one service; a manager may set a number by hand."""
    service = get_object_or_404(Service.objects.select_related("kind", "set_minutes_by"), pk=pk)
    now = timezone.now()
    form = MinutesForm(
        request.POST if request.method == "POST" else None,
        now=now,
        initial={"minutes": service.set_minutes},
    )
    if request.method == "POST" and form.is_valid():
        minutes = form.cleaned_data["minutes"]
        if minutes == 0:
            form.add_error("minutes", "Give more than no time, or leave it empty.")
        else:
            set_minutes(
                service=service,
                minutes=None if minutes is None else int(minutes),
                author=request.user,
                at=now,
            )
            messages.success(
                request,
                f"{service} is planned as it is learnt."
                if minutes is None
                else f"{service} is planned for {int(minutes)} min until somebody says otherwise.",
            )
            return redirect("equipment:service", pk)
    version = service.versions.get(is_current=True)
    version.service = service
    rows = doings([pk]).get(pk, [])
    figures = told(rows)
    return render(
        request,
        "shop/service_minutes.html",
        {
            "service": service,
            "version": version,
            "rows": rows,
            "told": told_text(figures),
            "learnt_now": learnt(figures.took, asked=version.labour_minutes),
            "form": form,
        },
        status=422 if request.method == "POST" else 200,
    )
