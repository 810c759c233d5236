"""The people of the shop: who they are, what they may do, whether they may sign in."""

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.db.models import Case, Value, When
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone, translation
from django.utils.translation import gettext
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from shop.forms.front import PasswordTwice
from shop.forms.people import NewPersonForm, OwnForm, PersonForm
from shop.http import PageRequest
from shop.models import Person, Role
from shop.services import people as service


@require_safe
def people(request: HttpRequest) -> HttpResponse:
    """List everybody, those who may sign in first."""
    by_role = Case(*(When(role=role, then=Value(n)) for n, role in enumerate(Role.values)))
    everybody = Person.objects.order_by("-is_active", by_role, "name", "pk")
    return render(request, "shop/people.html", {"people": everybody})


@sensitive_post_parameters("password", "again")
@require_http_methods(["GET", "HEAD", "POST"])
def new_person(request: HttpRequest) -> HttpResponse:
    """Add somebody."""
    form = NewPersonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        data = {key: value for key, value in form.cleaned_data.items() if key != "again"}
        try:
            added = service.create_person(**data, at=timezone.now())
        except service.NameTaken as refused:
            form.add_error("sign_in", str(refused))
        else:
            messages.success(request, f"{added.name} may sign in as {added.sign_in}.")
            return redirect("shop:people")
    context = {"form": form, "subject": None}
    return render(request, "shop/person.html", context, status=422 if form.errors else 200)


@sensitive_post_parameters("password", "again")
@require_http_methods(["GET", "HEAD", "POST"])
def person(request: HttpRequest, pk: int) -> HttpResponse:
    """Change somebody: three forms, told apart by the name of their button."""
    subject = get_object_or_404(Person, pk=pk)
    asked = request.POST if request.method == "POST" else {}
    form = PersonForm(
        asked if "change" in asked else None,
        initial={
            name: getattr(subject, name) for name in ("name", "sign_in", "role", "is_electrician")
        },
    )
    password = PasswordTwice(asked if "new_password" in asked else None, prefix="new")
    switch_refused = ""
    try:
        if form.is_bound and form.is_valid():
            service.change_person(person=subject, **form.cleaned_data)
            return _done(request, f"{form.cleaned_data['name']} is changed.")
        if password.is_bound and password.is_valid():
            changed = service.set_password(
                person=subject, password=password.cleaned_data["password"]
            )
            if changed == request.user:
                update_session_auth_hash(request, changed)
            return _done(request, f"{subject.name} has a new password. Tell it to them in person.")
        if "switch_off" in asked:
            service.switch_off(person=subject)
            return _done(request, f"{subject.name} may sign in no more.")
        if "switch_on" in asked:
            service.switch_on(person=subject)
            return _done(request, f"{subject.name} may sign in again.")
    except service.NameTaken as refused:
        form.add_error("sign_in", str(refused))
    except service.LastManager as refused:
        if form.is_bound:
            form.add_error("role", str(refused))
        else:
            switch_refused = str(refused)
    context = {
        "subject": subject,
        "form": form,
        "password_form": password,
        "switch_refused": switch_refused,
    }
    refused_any = form.errors or password.errors or switch_refused or request.method == "POST"
    return render(request, "shop/person.html", context, status=422 if refused_any else 200)


@require_http_methods(["GET", "HEAD", "POST"])
def own(request: PageRequest) -> HttpResponse:
    """Let anybody say in which language and units they work."""
    person = request.user
    form = OwnForm(
        request.POST if request.method == "POST" else None,
        initial={"language": person.language, "own_units": person.own_units},
        shop=request.shop,
    )
    if form.is_valid():
        changed = service.change_own(person=person, **form.cleaned_data)
        with translation.override(changed.language):
            messages.success(request, gettext("Your sheets speak this from now on."))
        return redirect("shop:own")
    return render(request, "shop/own.html", {"form": form}, status=422 if form.errors else 200)


def _done(request: HttpRequest, text: str) -> HttpResponse:
    messages.success(request, text)
    return redirect("shop:people")
