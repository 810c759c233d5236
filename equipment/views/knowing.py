"""What we know about a make of component or a service: read, written down, replaced, taken off."""

import logging
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import etag, require_http_methods, require_POST, require_safe

from equipment.forms.knowing import KnownFileForm, NoteForm, TakeOffKnownForm
from equipment.models import ComponentType, Known, Service
from equipment.services.knowing import (
    KnowingRefused,
    is_pdf_stored,
    keep_known,
    pdf_name,
    print_on_sheets,
    store_pdf,
    take_off_known,
)
from equipment.services.photos import store_picture
from equipment.views.common import PageRequest, draw, is_sound, put_beside, typed
from equipment.views.photos import NOT_STORED, handed_out
from equipment.views.services import get_service
from equipment.views.what_we_know import home, known_section

logger = logging.getLogger(__name__)

Kind = Known.Kind


@require_safe
def type_(request: PageRequest, pk: int) -> HttpResponse:
    """One make of component: what we know about it, which we have, what is done on it."""
    shown = get_type(pk)
    components = shown.components.in_use().order_by("tag")
    services = Service.objects.filter(kind=shown.kind, is_retired=False).order_by("name", "side")
    context = {
        "type": shown,
        "components": components,
        "services": services,
        **known_section(shown),
    }
    return render(request, "equipment/type.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def type_note(request: PageRequest, pk: int) -> HttpResponse:
    """Write down a note about a make of component."""
    return _note(request, get_type(pk))


@require_http_methods(["GET", "HEAD", "POST"])
def service_note(request: PageRequest, pk: int) -> HttpResponse:
    """Write down a note about a service."""
    return _note(request, get_service(pk))


@require_http_methods(["GET", "HEAD", "POST"])
def newer_note(request: PageRequest, pk: int) -> HttpResponse:
    """Write a newer note in place of one; the older stays to be read."""
    older = _get_known(pk)
    if older.kind != Kind.NOTE:
        raise Http404("That is no note.")
    return _note(request, older.about, older)


def _note(
    request: PageRequest, about: ComponentType | Service, older: Known | None = None
) -> HttpResponse:
    now = timezone.now()
    form = NoteForm(typed(request), now=now, initial=_words(older))
    if is_sound(request, form) and _kept(
        form, about=about, kind=Kind.NOTE, author=request.user, at=now, replaces=older
    ):
        messages.success(request, "The note is kept.")
        return redirect(home(about))
    title = "A newer note" if older else "Write down what you know"
    return draw(request, "equipment/known_form.html", _form_of(about, form, title, older=older))


@require_http_methods(["GET", "HEAD", "POST"])
def type_file(request: PageRequest, pk: int) -> HttpResponse:
    """Add a picture or a PDF to a make of component."""
    return _file(request, get_type(pk))


@require_http_methods(["GET", "HEAD", "POST"])
def service_file(request: PageRequest, pk: int) -> HttpResponse:
    """Add a picture or a PDF to a service."""
    return _file(request, get_service(pk))


@require_http_methods(["GET", "HEAD", "POST"])
def newer_file(request: PageRequest, pk: int) -> HttpResponse:
    """Put a newer picture or PDF in place of one; the older stays to be read."""
    older = _get_known(pk)
    if older.kind == Kind.NOTE:
        raise Http404("That is a note.")
    return _file(request, older.about, older)


def _file(
    request: PageRequest, about: ComponentType | Service, older: Known | None = None
) -> HttpResponse:
    now = timezone.now()
    form = KnownFileForm(
        typed(request),
        request.FILES or None,
        now=now,
        initial=_words(older),
        can_print=isinstance(about, ComponentType),
    )
    is_right = is_sound(request, form)
    if form.is_bound:
        _store(form)
    if is_right and form.held is not None:
        kind, digest, pages = form.held
        made = _kept(
            form,
            about=about,
            kind=kind,
            digest=digest,
            pages=pages,
            author=request.user,
            at=now,
            replaces=older,
        )
        if made:
            if form.cleaned_data.get("is_printed"):
                print_on_sheets(known=made, is_printed=True, author=request.user, at=now)
            messages.success(request, f"The {made.get_kind_display()} is kept.")
            return redirect(home(about))
    title = "A newer picture or file" if older else "Add a picture or a PDF"
    return draw(request, "equipment/known_form.html", _form_of(about, form, title, older=older))


def _store(form: KnownFileForm) -> None:
    """Store what came along, so that it is not lost when something else is refused."""
    try:
        if form.picture is not None:
            form.hold(Kind.PICTURE, store_picture(form.picture), 0)
        elif form.pdf is not None:
            form.hold(Kind.FILE, store_pdf(form.pdf), form.pdf.pages)
    except OSError:
        logger.exception("A file could not be stored.")
        form.add_error("file", NOT_STORED.replace("photo", "file"))


def _kept(form: Any, **given: Any) -> Known | None:
    """Keep it; None where that is refused, with the words in the form."""
    data = form.cleaned_data
    try:
        return keep_known(
            text=data["text"],
            document=data["document"],
            page=data["page"],
            request_id=data["request_id"],
            **given,
        )
    except ValidationError as refused:
        put_beside(form, refused)
    except KnowingRefused as refused:
        form.add_error(None, str(refused))
    return None


@require_http_methods(["GET", "HEAD", "POST"])
def take_off(request: PageRequest, pk: int) -> HttpResponse:
    """Take something off that is not right any more, after asking why."""
    now = timezone.now()
    known = _get_known(pk)
    form = TakeOffKnownForm(typed(request), now=now)
    if is_sound(request, form):
        try:
            take_off_known(
                known=known, author=request.user, at=now, reason=form.cleaned_data["reason"]
            )
        except KnowingRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, "It is taken off. It stays to be read, with your reason.")
            return redirect(home(known.about))
    context = _form_of(known.about, form, f"Take this {known.get_kind_display()} off")
    context |= {"submit": "Take it off", "older": known}
    return draw(request, "equipment/known_form.html", context)


@require_POST
def printed(request: PageRequest, pk: int) -> HttpResponse:
    """Choose the picture that sheets print for a make of component, or none of it."""
    known = _get_known(pk)
    is_printed = request.POST.get("print") == "yes"
    try:
        print_on_sheets(known=known, is_printed=is_printed, author=request.user, at=timezone.now())
    except KnowingRefused as refused:
        messages.error(request, str(refused))
    else:
        now = "this one, and no other of its type" if is_printed else "it no more"
        messages.success(request, f"Sheets print {now}.")
    return redirect(home(known.about))


def _tag(request: HttpRequest, digest: str) -> str | None:
    return f'"{digest}"' if is_pdf_stored(digest) else None


@require_safe
@etag(_tag)
def known_file(request: HttpRequest, digest: str) -> FileResponse:
    """One PDF, to be saved or opened by the reader of the device, never inside our pages."""
    if not is_pdf_stored(digest):
        raise Http404("There is no such file.")
    saved = f'attachment; filename="{digest[:12]}.pdf"'
    return handed_out(pdf_name(digest), content_type="application/pdf", disposition=saved)


def get_type(pk: int) -> ComponentType:
    """The make of an address; else a page that says there is none."""
    return get_object_or_404(ComponentType.objects.select_related("kind"), pk=pk)


def _get_known(pk: int) -> Known:
    known = Known.objects.select_related("type__kind", "service__kind", "author")
    return get_object_or_404(known, pk=pk)


def _words(older: Known | None) -> dict[str, str]:
    """A newer one begins with the words of the older."""
    if older is None:
        return {}
    return {"text": older.text, "document": older.document, "page": older.page}


def _form_of(
    about: ComponentType | Service, form: Any, title: str, *, older: Known | None = None
) -> dict[str, Any]:
    return {
        "title": title,
        "about": about,
        "form": form,
        "older": older,
        "submit": "Keep it",
        "back_url": home(about),
        "back_label": about.name,
    }
