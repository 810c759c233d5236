"""Scan or type what is on a label, a package, a shelf or a sheet, and go there."""

from urllib.parse import urlencode

from django import forms
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from shop.finding import Found, address_of, find
from shop.http import PageRequest

#: Longer than any code that a package carries.
MOST_LETTERS = 300


class FindForm(forms.Form):
    """One field: a keyboard scanner types into it and presses Enter."""

    q = forms.CharField(
        label="Scan or type",
        max_length=MOST_LETTERS,
        help_text="The code of a label, a part number, the code on a package, a place, a sheet.",
        error_messages={
            "required": "Scan or type something.",
            "max_length": "That is too long for a code. Scan one label at a time.",
        },
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}
        ),
    )


@require_safe
def find_page(request: PageRequest) -> HttpResponse:
    """The field; with ?q=, where it leads, or what was not found beside the field."""
    if "q" not in request.GET:
        return render(request, "shop/find.html", {"form": FindForm(auto_id="find-%s")})
    form = FindForm(request.GET, auto_id="find-%s")
    found = Found()
    if form.is_valid():
        found = find(form.cleaned_data["q"])
        if found.address:
            return redirect(found.address)
        if not found.parts:
            form.add_error("q", found.said)
    status = 200 if found.parts else 422
    return render(request, "shop/find.html", {"form": form, "found": found}, status=status)


@require_safe
def go(request: PageRequest, kind: str, code: str) -> HttpResponse:
    """The address on a label: the page of what it names, or the field that says what is wrong."""
    if address := address_of(kind, code):
        return redirect(address)
    asked = reverse("shop:go", args=[kind, code])
    return redirect(f"{reverse('shop:find')}?{urlencode({'q': asked})}")
