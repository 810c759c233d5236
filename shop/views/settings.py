"""The shop's own page: its name, zone, money and units, and the way to the rarer pages."""

from typing import NamedTuple

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from shop.access import ACCESS
from shop.forms.people import SettingsForm
from shop.models import Shop
from shop.services import people


class Link(NamedTuple):
    """The way to a page that is needed too rarely for the bar."""

    name: str
    label: str
    help: str

    @property
    def url(self) -> str:
        return reverse(self.name)


LINKS = (
    Link("shop:people", "People", "Who may sign in, and what they may do."),
    Link("shop:import", "Import", "Rigs, components, parts, stock and readings from a file."),
    Link("equipment:components", "Components", "Everything that is or was fitted, with its life."),
    Link("equipment:services", "Services", "What is done at which interval, with its checks."),
    Link("shop:cautions", "Cautions in Spanish", "Which of them somebody of the trade has read."),
    Link("inventory:locations", "Places", "Bins, rig drawers and trays, with what lies in them."),
)


@require_http_methods(["GET", "HEAD", "POST"])
def settings(request: HttpRequest) -> HttpResponse:
    """Show and change the shop."""
    shop = get_object_or_404(Shop)
    form = SettingsForm(request.POST or None, instance=shop)
    if request.method == "POST" and form.is_valid():
        people.change_shop(**form.cleaned_data)
        messages.success(request, "The shop is changed.")
        return redirect("shop:settings")
    links = [link for link in LINKS if link.name in ACCESS]
    context = {"form": form, "links": links}
    return render(request, "shop/settings.html", context, status=422 if form.errors else 200)
