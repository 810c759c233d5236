"""Filters that live in the address, so that a list can be kept and sent."""

from datetime import date
from typing import Any

import django_filters as filters
from django import forms
from django.db.models import QuerySet

from inventory.models import Location, Part

#: Search as one types: the results below renew, the address follows.
SEARCH = {
    "type": "search",
    "autocomplete": "off",
    "hx-trigger": "input changed delay:250ms, search",
    "hx-target": "#results",
    "hx-include": "closest form",
    "hx-push-url": "true",
}


class PartFilter(filters.FilterSet):
    """Find parts by a piece of their number or name, by category, and by what needs doing."""

    q = filters.CharFilter(label="Find a part", method="find")
    category = filters.ChoiceFilter(label="Category", empty_label="all")
    show = filters.ChoiceFilter(
        label="Show",
        empty_label="all in use",
        method="pick",
        choices=[
            ("kits", "kits only"),
            ("reorder", "at reorder point"),
            ("retired", "retired"),
        ],
    )

    class Meta:
        model = Part
        fields: list[str] = []

    def __init__(self, *args: Any, url: str, today: date, **kwargs: Any) -> None:
        self.today = today
        super().__init__(*args, **kwargs)
        words = (
            Part.objects.exclude(category="")
            .order_by("category")
            .values_list("category", flat=True)
            .distinct()
        )
        self.filters["category"].extra["choices"] = [(word, word) for word in words]
        self.filters["q"].extra["widget"] = forms.TextInput(attrs={**SEARCH, "hx-get": url})

    def filter_queryset(self, queryset: QuerySet[Part]) -> QuerySet[Part]:
        chosen = super().filter_queryset(queryset)
        return chosen if self.form.cleaned_data.get("show") == "retired" else chosen.in_use()

    def find(self, queryset: Any, name: str, value: str) -> Any:
        return queryset.search(value)

    def pick(self, queryset: Any, name: str, value: str) -> Any:
        if value == "kits":
            return queryset.kits()
        if value == "reorder":
            return queryset.at_reorder_point(today=self.today)
        return queryset.filter(retired=True)


class PlaceFilter(filters.FilterSet):
    """Places of one kind; trays of sheets and retired places only when asked for."""

    show = filters.ChoiceFilter(
        label="Show",
        empty_label="all but trays",
        method="pick",
        choices=[*Location.Kind.choices, ("retired", "Retired")],
    )

    class Meta:
        model = Location
        fields: list[str] = []

    def filter_queryset(self, queryset: QuerySet[Location]) -> QuerySet[Location]:
        chosen = super().filter_queryset(queryset)
        show = self.form.cleaned_data.get("show")
        if show == "retired":
            return chosen
        if not show:
            chosen = chosen.exclude(kind=Location.Kind.TRAY)
        return chosen.filter(retired=False)

    def pick(self, queryset: Any, name: str, value: str) -> Any:
        if value == "retired":
            return queryset.filter(retired=True)
        return queryset.filter(kind=value)
