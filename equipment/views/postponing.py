"""A service put off by a person, to a day and for a reason, and taken off again."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_http_methods, require_POST

from equipment.forms.postponing import PostponeForm
from equipment.models import Component, Due, Postponement
from equipment.services import (
    FarAhead,
    LimitOfLaw,
    Meanwhile,
    NotAhead,
    PostponingRefused,
    SayWhy,
    next_stay,
    postpone,
    seen_of,
    standing_on,
    take_off_postponement,
)
from equipment.services.care_refusals import CareRefused
from equipment.views.common import (
    PageRequest,
    component_url,
    draw,
    fitted_now,
    get_component,
    is_sound,
    of_rig,
    put_beside,
    typed,
    zone,
)


@require_http_methods(["GET", "HEAD", "POST"])
def put_off(request: PageRequest, tag: str, pk: int) -> HttpResponse:
    """Put a service of a component off, or to another day; what stands now is shown above."""
    now = timezone.now()
    shown = get_component(tag)
    row = (
        Due.objects.filter(component=shown, version__service=pk, version__is_current=True)
        .select_related("rig", "position__kind", "component__type__kind", "version__service")
        .first()
    )
    if row is None:
        raise Http404(f"There is no such service of {shown.tag}.")
    service = row.version.service
    # Looked at before the form: what changes from here on is asked about.
    seen = seen_of(shown, service)
    form = PostponeForm(typed(request), now=now, initial={"seen": seen})
    if is_sound(request, form):
        try:
            made = postpone(
                component=shown,
                service=service,
                until=form.cleaned_data["until"],
                reason=form.cleaned_data["reason"],
                author=request.user,
                at=now,
                today=request.today,
                request_id=form.cleaned_data["request_id"],
                zone=zone(),
                is_sure=form.is_sure,
                seen=form.cleaned_data["seen"],
            )
        except FarAhead as question:
            form.ask_about(form.cleaned_data["until"])
            form.add_error("until", str(question))
        except NotAhead as refused:
            form.add_error("until", str(refused))
        except SayWhy as refused:
            form.add_error("reason", str(refused))
        except Meanwhile as refused:
            form.add_error(None, str(refused))
            form.look_again(seen_of(shown, service))
        except CareRefused as refused:
            form.add_error(None, str(refused))
        except ValidationError as refused:
            put_beside(form, refused)
        else:
            until = f"{made.until.day} {made.until:%b %Y}"
            messages.success(request, f"“{service}” of {shown.tag} is put off to {until}.")
            return redirect(_back(request, shown))
    if form.is_bound and not form.has_seen:
        form.look_again(seen)
    return draw(request, "equipment/put_off.html", _context(request, shown, row, form))


def _context(
    request: PageRequest, shown: Component, row: Due, form: PostponeForm
) -> dict[str, Any]:
    """Read anew: a refusal shows what stands now."""
    row.refresh_from_db()
    service = row.version.service
    fitted = fitted_now(shown)
    words = [each for each in standing_on(shown) if each.service_id == service.pk]
    context: dict[str, Any] = {
        "component": shown,
        "service": service,
        "dues": [row],
        "next_stay": next_stay(rig=fitted.position.rig, today=request.today) if fitted else None,
        "place": f"{fitted.position.label}, {shown.tag}"
        if fitted
        else f"{shown.type.kind} {shown.tag}",
        "standing": words[0] if words else None,
        "limit": str(LimitOfLaw(service)) if row.version.is_hard_limit else "",
        "form": form,
        "back_url": _back(request, shown),
    }
    return of_rig(fitted.position.rig, **context) if fitted else context


@require_POST
def take_off(request: PageRequest, pk: int) -> HttpResponse:
    """A service is put off no longer. Sent twice, the second finds nothing to do."""
    row = get_object_or_404(
        Postponement.objects.select_related("component__type__kind", "service"), pk=pk
    )
    try:
        take_off_postponement(postponement=row, author=request.user, at=timezone.now(), zone=zone())
    except PostponingRefused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, f"“{row.service}” falls due on its own day again.")
    return redirect(_back(request, row.component))


def _back(request: PageRequest, component: Component) -> str:
    """The page the person came from, of this site; else that of the component."""
    given = request.GET.get("back", "")
    hosts = {request.get_host()}
    if url_has_allowed_host_and_scheme(given, hosts, require_https=request.is_secure()):
        return given
    return f"{component_url(component)}#due"
