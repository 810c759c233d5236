"""Asking for a service: a new one, a new version of one, a copy."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from equipment import values
from equipment.forms.asking import (
    KINDS_OF_ROWS,
    blank_rows,
    in_order,
    others_of,
    refuse_limits,
    rows,
    told_rows,
    typed_form,
    typed_rows,
)
from equipment.forms.services import AskForm, CopyForm, KindForm, NewAskForm, told
from equipment.models import Basis, Check, ComponentKind, Service, ServiceVersion, Trigger
from equipment.services import (
    CareRefused,
    CheckPlan,
    TriggerPlan,
    copy_service,
    create_service,
    publish_version,
)
from equipment.services.asking import measured_values, versions_to_read
from equipment.views.common import PageRequest, draw, is_sound, put_beside, typed, zone
from equipment.views.services import get_service

#: What a version rests on: where one of these is changed, the figures are the shop's own.
FIGURES: Final = ("rule", "tolerance_percent", "early_percent", "is_hard_limit", "source")


@dataclass(slots=True)
class Editor:
    """The page of a service's form: its fields, and the rows of each kind under their name.

    measured: the unit of what other services of the kind measure, by its name.
    """

    form: AskForm
    rows: dict[str, Any]
    measured: dict[str, str]

    def is_valid(self) -> bool:
        """Whether all of it can be acted on; what is wrong stands beside its field."""
        parts = [self.form.is_valid(), *(each.is_valid() for each in self.rows.values())]
        return all(parts) and self._fits_together()

    @property
    def triggers(self) -> list[TriggerPlan]:
        return [
            *self.form.triggers(),
            *(row.plan() for name in ("after", "values") for row in self.rows[name].given),
        ]

    @property
    def checks(self) -> list[CheckPlan]:
        return in_order(self.rows["checks"].given)

    def _fits_together(self) -> bool:
        seen: set[object] = set()
        for row in self.rows["after"].given:
            after = row.cleaned_data["after"]
            if after in seen:
                row.add_error("after", "That service stands in another row, too.")
            seen.add(after)
        units = self.measured | {
            plan.text: plan.unit for plan in self.checks if plan.kind == Check.Kind.VALUE
        }
        seen.clear()
        for row in self.rows["values"].given:
            watched = row.cleaned_data["watched"]
            if watched not in units:
                row.add_error("watched", _not_measured(sorted(units)))
            elif watched in seen:
                row.add_error("watched", "That value stands in another row, too.")
            else:
                refuse_limits(row, units[watched])
            seen.add(watched)
        return not any(form.errors for name in ("after", "values") for form in self.rows[name])


@require_http_methods(["GET", "HEAD"])
def new_service(request: PageRequest) -> HttpResponse:
    """Choose the kind of component that a new service is for."""
    form = KindForm(request.GET or None, now=timezone.now())
    if form.is_bound and form.is_valid():
        return redirect("equipment:new_service_of", form.cleaned_data["kind"].pk)
    context = {"form": form, "back_url": reverse("equipment:services")}
    status = 422 if form.is_bound else 200
    return render(request, "equipment/service_kind.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
def new_service_of(request: PageRequest, pk: int) -> HttpResponse:
    """Begin a service on every component of a kind."""
    now = timezone.now()
    kind = get_object_or_404(ComponentKind, pk=pk)
    editor = _editor(request, NewAskForm, kind=kind)
    if _is_sent(request) and editor.is_valid():
        data = editor.form.cleaned_data
        try:
            made = create_service(
                kind=kind,
                name=data["name"],
                side=data["side"],
                author=request.user,
                at=now,
                zone=zone(),
                triggers=editor.triggers,
                checks=editor.checks,
                **editor.form.asked(),
            )
        except ValidationError as refused:
            put_beside(editor.form, refused, __all__="name")
        except CareRefused as refused:
            editor.form.add_error(None, str(refused))
        else:
            messages.success(request, f"“{made.service}” is there. Next: the parts it needs.")
            return redirect("equipment:service", made.service.pk)
    return _page(
        request,
        editor,
        title="New service",
        line=f"on every {kind}",
        submit="Begin it",
        back_url=reverse("equipment:services"),
        back_label="the services",
    )


@require_http_methods(["GET", "HEAD", "POST"])
def change(request: PageRequest, pk: int) -> HttpResponse:
    """Publish a new version; signed sheets keep the one that they read."""
    now = timezone.now()
    shown = get_service(pk)
    current = versions_to_read().get(service=shown, is_current=True)
    editor = _editor(request, AskForm, kind=shown.kind, service=shown, version=current)
    if _is_sent(request) and editor.is_valid() and _is_as_seen(editor.form, current):
        try:
            made = publish_version(
                service=shown,
                author=request.user,
                at=now,
                zone=zone(),
                triggers=editor.triggers,
                checks=editor.checks,
                basis=_basis(editor, current),
                **editor.form.asked(),
            )
        except ValidationError as refused:
            put_beside(editor.form, refused)
        except CareRefused as refused:
            editor.form.add_error(None, str(refused))
        else:
            messages.success(request, f"Version {made.version} counts from now on.")
            return redirect("equipment:service", shown.pk)
    return _page(
        request,
        editor,
        title=f"Change “{shown}”",
        line=f"{shown.kind}, version {current.version}",
        submit=f"Publish version {current.version + 1}",
        intro="What falls due follows at once. Sheets that were drafted or signed keep the "
        "version that they read.",
        back_url=reverse("equipment:service", args=[shown.pk]),
        back_label="the service",
    )


@require_http_methods(["GET", "HEAD", "POST"])
def copy(request: PageRequest, pk: int) -> HttpResponse:
    """Begin another service that asks for the same, to be changed next."""
    now = timezone.now()
    shown = get_service(pk)
    begin = {
        "name": shown.name,
        "kind": shown.kind_id,
        "side": shown.side,
        "only_rigs": list(shown.only_rigs.order_by("number")),
    }
    form = CopyForm(typed(request), now=now, initial=begin)
    if is_sound(request, form):
        try:
            made = copy_service(
                service=shown, author=request.user, at=now, zone=zone(), **form.cleaned_data
            )
        except ValidationError as refused:
            put_beside(form, refused, __all__="name")
        except CareRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, f"“{made.service}” is there, with what “{shown}” asks for.")
            return redirect("equipment:change_service", made.service.pk)
    context = {
        "title": f"Copy “{shown}”",
        "line": shown.kind,
        "intro": "The copy asks for the same; change what is different about it next.",
        "form": form,
        "submit": "Copy it",
        "back_url": reverse("equipment:service", args=[shown.pk]),
        "back_label": "the service",
    }
    return draw(request, "equipment/form.html", context)


def _is_sent(request: PageRequest) -> bool:
    """Whether the form is to be acted on: "more" is a button that only adds rows."""
    return request.method == "POST" and "more" not in request.POST


def _editor(
    request: PageRequest,
    form: type[AskForm],
    *,
    kind: ComponentKind,
    service: Service | None = None,
    version: ServiceVersion | None = None,
) -> Editor:
    now = timezone.now()
    about: dict[str, Any] = {"now": now, "kind": kind, "service": service}
    rows_about: dict[str, dict[str, Any]] = {name: {} for name in KINDS_OF_ROWS}
    rows_about["after"] = {"others": others_of(kind, service)}
    # The first service by name says the unit, as it does for what falls due.
    measured = {check.text: check.unit for check in reversed(measured_values([kind.pk]))}
    if _is_sent(request):
        made = {name: rows(name, data=request.POST, **rows_about[name]) for name in KINDS_OF_ROWS}
        return Editor(form(request.POST, **about), made, measured)
    more = request.POST.get("more", "")
    if request.method == "POST":
        begin = typed_form(form, request.POST)
        begin_rows = {name: typed_rows(name, request.POST) for name in KINDS_OF_ROWS}
    else:
        begin = told(version) if version else {}
        begin_rows = told_rows(version, units=measured)
    made = {
        name: rows(
            name,
            initial=begin_rows[name],
            blank=blank_rows(name, request.POST, len(begin_rows[name]), more=name == more),
            **rows_about[name],
        )
        for name in KINDS_OF_ROWS
    }
    return Editor(form(initial=begin, **about), made, measured)


def _page(request: PageRequest, editor: Editor, **context: Any) -> HttpResponse:
    """The page of the form; as a refusal when it comes back from being sent."""
    status = 422 if _is_sent(request) else 200
    context |= {
        "form": editor.form,
        "measured": sorted(editor.measured),
        "special_units": values.SPECIAL.items(),
        **editor.rows,
    }
    context["row_sets"] = list(editor.rows.values())
    return render(request, "equipment/service_form.html", context, status=status)


def _is_as_seen(form: AskForm, current: ServiceVersion) -> bool:
    """Refuse to publish over a version that nobody looked at, also when a finger slips twice."""
    if form.cleaned_data["seen"] == current.version:
        return True
    form.add_error(
        None,
        f"Version {current.version} was published meanwhile, by {current.author}. Open the page "
        "again to change that one.",
    )
    return False


def _basis(editor: Editor, current: ServiceVersion) -> str:
    """The basis of the figures: the old one while none of them is changed, then the shop's own."""
    asked = editor.form.asked()
    is_kept = all(asked[name] == getattr(current, name) for name in FIGURES) and _picture(
        editor.triggers
    ) == _picture(current.triggers.all())
    return current.basis if is_kept else Basis.SHOP


def _picture(triggers: Sequence[TriggerPlan] | Any) -> set[tuple[object, ...]]:
    names = [field.name for field in Trigger._meta.fields if field.name not in ("id", "version")]
    return {tuple(getattr(each, name) for name in names) for each in triggers}


def _not_measured(names: Sequence[str]) -> str:
    if not names:
        return "Nothing is measured on this kind yet. Add a check with a measured value first."
    return f"No check measures that. There is: {'; '.join(names)}."
