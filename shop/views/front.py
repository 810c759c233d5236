"""The way in: the first page of an empty installation, signing in and out."""

from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib.auth import login, logout
from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import REASON_BAD_ORIGIN
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import override
from django.views.csrf import csrf_failure as plain_csrf_failure
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from shop import signed_out
from shop.forms.front import SignInForm, WelcomeForm
from shop.models import Person, Shop
from shop.services import people
from shop.spoken import language_at

BACKEND = "django.contrib.auth.backends.ModelBackend"


@sensitive_post_parameters("password", "again")
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def welcome(request: HttpRequest) -> HttpResponse:
    """Found the shop; only while there is none."""
    if Shop.objects.exists():
        return redirect("shop:sign_in")
    form = WelcomeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        data = {key: value for key, value in form.cleaned_data.items() if key != "again"}
        try:
            _, manager = people.open_shop(**data, at=timezone.now())
        except people.ShopIsOpen as refused:
            form.add_error(None, str(refused))
        else:
            login(request, manager, backend=BACKEND)
            response = redirect("/")
            signed_out.remember(response, manager)
            return response
    return render(request, "shop/welcome.html", {"form": form}, status=422 if form.errors else 200)


@sensitive_post_parameters("password")
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in(request: HttpRequest) -> HttpResponse:
    """Sign in, and go on to where somebody was going, or to what they had typed."""
    goes_to = request.POST.get("next") or request.GET.get("next") or "/"
    goes_to = signed_out.safe_next(request, goes_to)
    if request.method == "GET" and request.user.is_authenticated:
        return redirect(goes_to)
    typed = signed_out.opened(request.POST.get("typed", ""))
    sealed = typed.sealed() if typed else ""
    form = SignInForm(request, request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        person = form.get_user()
        assert isinstance(person, Person)
        login(request, person)
        if typed:
            context = {"typed": typed, "sealed": sealed, "is_theirs": typed.is_for(person)}
            with override(language_at(typed.action, person)):
                response = render(request, "shop/resume.html", context)
        else:
            response = redirect(goes_to)
        signed_out.remember(response, person)
        return response
    context = {"form": form, "next": goes_to, "typed": typed, "sealed": sealed}
    return _sign_in_page(request, context, status=422 if form.errors else 200)


def _sign_in_page(
    request: HttpRequest, context: dict[str, Any], *, status: int = 200
) -> HttpResponse:
    """In the language of where it leads, of who typed it or signed in last with this browser."""
    typed: signed_out.Typed | None = context["typed"]
    person = typed.typed_by if typed else signed_out.last_person(request)
    to = typed.action if typed else context["next"]
    with override(signed_out.language_for(person, to)):
        return render(request, "shop/sign_in.html", context, status=status)


@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    """Sign out; what belongs to somebody else is handed on to the sign-in page."""
    logout(request)
    typed = signed_out.opened(request.POST.get("typed", ""))
    if typed is None:
        return redirect("shop:sign_in")
    context = {"form": SignInForm(request), "next": "/", "typed": typed, "sealed": typed.sealed()}
    return _sign_in_page(request, context)


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Answer a form that was opened before its sender signed in anew, and so carries an old token.

    Its browser says that the form came from a page of ours (the Origin header, which no page of
    another site can set); so what was typed is given back with a fresh token, to be sent by a
    person. Anything else is refused.
    """
    if reason.startswith(REASON_BAD_ORIGIN.split("%")[0]) or not _is_from_our_page(request):
        return plain_csrf_failure(request, reason)
    if getattr(request, "htmx", False):
        with override(_language_here(request)):
            return signed_out.beside_the_form(request, "shop/_partials/page_is_old.html")
    if not request.user.is_authenticated:
        return signed_out.answer(request)
    typed = signed_out.typed_in(request)
    context = {"typed": typed, "sealed": typed.sealed(), "is_theirs": typed.is_for(request.user)}
    with override(_language_here(request)):
        return render(request, "shop/resume.html", context, status=403)


def _language_here(request: HttpRequest) -> str:
    person = request.user
    return (
        language_at(request.path, person) if isinstance(person, Person) else settings.LANGUAGE_CODE
    )


def _is_from_our_page(request: HttpRequest) -> bool:
    origin = urlsplit(request.headers.get("Origin", ""))
    return (origin.scheme, origin.netloc) == (request.scheme, request.get_host())
