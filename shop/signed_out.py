"""What happens to a request whose person is no longer signed in: nothing typed is lost.

What was sent travels, signed by us, through the sign-in page and comes back as a form with one
button. It is never sent by itself, and only to the person who typed it, where that is known: by
a field `typed_by` of the form, or by the last person who signed in with this browser.
"""

import re
from dataclasses import dataclass
from typing import Any, Final

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme, urlencode
from django.utils.translation import override, pgettext_lazy
from django_htmx.http import HttpResponseClientRedirect

from shop.models import Person
from shop.spoken import language_at

SALT: Final = "shop.signed_out"
LAST_PERSON: Final = "last_person"
#: Half a day: somebody comes back from lunch, or the next morning's first look. [s]
KEEPS: Final = 60 * 60 * 16
NOT_TYPED: Final = frozenset({"csrfmiddlewaretoken"})
#: What is typed on the pages that are spoken in a person's own language, by the words of its field.
NAMES: Final = {
    "answer": pgettext_lazy("a field", "answer"),
    "before reset": pgettext_lazy("a field", "before reset"),
    "choice": pgettext_lazy("a field", "choice"),
    "does": pgettext_lazy("a field", "does"),
    "drawn": pgettext_lazy("a field", "drawn"),
    "expired reason": pgettext_lazy("a field", "expired reason"),
    "face start": pgettext_lazy("a field", "face start"),
    "finding text": pgettext_lazy("a field", "finding text"),
    "is grave": pgettext_lazy("a field", "is grave"),
    "labour minutes": pgettext_lazy("a field", "labour minutes"),
    "leave undone": pgettext_lazy("a field", "leave undone"),
    "left value": pgettext_lazy("a field", "value as left"),
    "line": pgettext_lazy("a field", "line"),
    "missing": pgettext_lazy("a field", "missing"),
    "note": pgettext_lazy("a field", "note"),
    "part": pgettext_lazy("a field", "part"),
    "parts": pgettext_lazy("a field", "parts"),
    "place": pgettext_lazy("a field", "place"),
    "quantity": pgettext_lazy("a field", "quantity"),
    "reading": pgettext_lazy("a field", "reading"),
    "reason": pgettext_lazy("a field", "reason"),
    "remedy": pgettext_lazy("a field", "remedy"),
    "rig": pgettext_lazy("a field", "rig"),
    "signature": pgettext_lazy("a field", "signature"),
    "step": pgettext_lazy("a field", "step"),
    "technician": pgettext_lazy("a field", "technician"),
    "text": pgettext_lazy("a field", "text"),
    "to": pgettext_lazy("a field", "to"),
    "unit": pgettext_lazy("a field", "unit"),
    "until": pgettext_lazy("a field", "until"),
    "used": pgettext_lazy("a field", "used"),
    "value": pgettext_lazy("a field", "value"),
    "words": pgettext_lazy("a field", "words"),
}


@dataclass(frozen=True, slots=True)
class Typed:
    """What somebody sent without being signed in."""

    action: str
    fields: tuple[tuple[str, str], ...]
    #: Primary key of who typed it; 0 where nobody knows.
    typed_by: int
    #: Files do not come back from a browser's form; their fields are named instead.
    files: tuple[str, ...]

    def sealed(self) -> str:
        """Return it as text that only we can have written."""
        return signing.dumps(
            [self.action, self.fields, self.typed_by, self.files], salt=SALT, compress=True
        )

    def is_for(self, person: Person) -> bool:
        return self.typed_by in (0, person.pk)

    @property
    def spoken(self) -> list[tuple[str, str]]:
        """What of it a person typed, for showing: no keys of ours, nothing empty, no secrets."""
        return [
            (_in_words(name), value) for name, value in self.fields if value and not _is_ours(name)
        ]

    @property
    def author(self) -> str:
        """The name of who typed it, or nothing."""
        person = Person.objects.filter(pk=self.typed_by).first()
        return person.name if person else ""


def typed_in(request: HttpRequest) -> Typed:
    """Gather what a request sent."""
    fields = tuple(
        (name, str(value))
        for name, values in request.POST.lists()
        if name not in NOT_TYPED
        for value in values
    )
    return Typed(
        action=request.get_full_path(),
        fields=fields,
        typed_by=_number(request.POST.get("typed_by")) or last_person(request),
        files=tuple(sorted(request.FILES)),
    )


def opened(sealed: str) -> Typed | None:
    """Return what `Typed.sealed` wrote; None where it is not ours or too old."""
    try:
        action, fields, typed_by, files = signing.loads(sealed, salt=SALT, max_age=KEEPS)
    except signing.BadSignature:
        return None
    return Typed(action, tuple((name, value) for name, value in fields), typed_by, tuple(files))


def answer(request: HttpRequest) -> HttpResponse:
    """Answer somebody who is not signed in, on an address that asks for it."""
    is_reading = request.method in ("GET", "HEAD", "OPTIONS")
    if getattr(request, "htmx", False):
        if is_reading:
            return HttpResponseClientRedirect(sign_in_address(_page_of(request)))
        # The form stays as it is on the page, with all that was typed into it.
        with override(language_for(last_person(request), _page_of(request))):
            return beside_the_form(request, "shop/_partials/signed_out.html")
    if is_reading:
        return HttpResponseRedirect(sign_in_address(request.get_full_path()))
    from shop.forms.front import SignInForm

    typed = typed_in(request)
    with override(language_for(typed.typed_by, typed.action)):
        context = {"form": SignInForm(request), "typed": typed, "sealed": typed.sealed()}
        return render(request, "shop/sign_in.html", context, status=403)


def language_for(person: int, address: str) -> str:
    """The language in which somebody who is not signed in is spoken to: that of the page they are
    on their way to. person: the primary key of who it seems to be, or 0."""
    found = Person.objects.filter(pk=person).first()
    return language_at(address, found) if found else settings.LANGUAGE_CODE


def beside_the_form(request: HttpRequest, template: str) -> HttpResponse:
    """Answer an htmx request in the message strip, and leave its form alone."""
    response = render(request, template, status=422)
    response["HX-Retarget"] = "#messages"
    response["HX-Reswap"] = "innerHTML show:top"
    return response


def sign_in_address(then: str) -> str:
    """Return the address of the sign-in page that goes on to another page."""
    return f"{reverse('shop:sign_in')}?{urlencode({'next': then})}"


def safe_next(request: HttpRequest, given: str) -> str:
    """Return where to go after signing in: only to a page of this site."""
    hosts = {request.get_host()}
    if url_has_allowed_host_and_scheme(given, hosts, require_https=request.is_secure()):
        return given
    return "/"


def typed_by_another(request: HttpRequest, person: Person) -> bool:
    """Say whether a form names another person as its author than the one now signed in."""
    if request.method != "POST":
        return False
    author = _number(request.POST.get("typed_by"))
    return author not in (0, person.pk)


def belongs_to_another(request: HttpRequest) -> HttpResponse:
    """Refuse a form that another person typed, and keep it for them."""
    typed = typed_in(request)
    return render(
        request, "shop/resume.html", {"typed": typed, "sealed": typed.sealed()}, status=409
    )


def remember(response: HttpResponse, person: Person) -> None:
    """Remember who signed in last with this browser, to know whose half-sent form it is."""
    response.set_cookie(
        LAST_PERSON,
        signing.dumps(person.pk, salt=SALT),
        max_age=settings.SESSION_COOKIE_AGE * 2,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )


def last_person(request: HttpRequest) -> int:
    """Return the primary key of who signed in last with this browser, or 0."""
    try:
        return int(signing.loads(request.COOKIES.get(LAST_PERSON, ""), salt=SALT))
    except signing.BadSignature:
        return 0


def _is_ours(name: str) -> bool:
    word = name.rpartition("-")[2]
    return (
        name.startswith("event-")
        or word.endswith("_id")
        or "password" in word
        or word in ("again", "typed_by", "at", "sure")
    )


def _in_words(name: str) -> str:
    """A field's name without our keys: "reading-7" and "c7-value" are a reading and a value."""
    words = " ".join(
        word for word in re.split(r"[-_]", name) if not re.fullmatch(r"[a-z]?\d+", word)
    )
    return str(NAMES.get(words, words))


def _number(text: Any) -> int:
    return int(text) if str(text or "").isascii() and str(text or "").isdigit() else 0


def _page_of(request: HttpRequest) -> str:
    """The page that an htmx request came from: a part of it is no place to go back to."""
    return request.htmx.current_url_abs_path or "/"  # type: ignore[attr-defined]
