"""Filters that live in the address, so that a list can be kept and sent."""

from typing import Any

import django_filters as filters
from django import forms
from django.db.models import Q, QuerySet

from equipment.models import Component, ComponentKind, Service


def kinds() -> QuerySet[ComponentKind]:
    """The kinds in the order along a rig."""
    return ComponentKind.objects.order_by("flow_order", "name")


class ComponentFilter(filters.FilterSet):
    """Find components by tag, serial number or type; by kind; by where they are."""

    q = filters.CharFilter(
        label="Find a component",
        method="find",
        widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off"}),
    )
    kind = filters.ModelChoiceFilter(
        label="Kind", field_name="type__kind", queryset=lambda _: kinds(), empty_label="all"
    )
    show = filters.ChoiceFilter(
        label="Show",
        empty_label="all in use",
        method="pick",
        choices=[("fitted", "fitted"), ("shelf", "on the shelf"), ("retired", "retired")],
    )

    class Meta:
        model = Component
        fields: list[str] = []

    def filter_queryset(self, queryset: QuerySet[Component]) -> QuerySet[Component]:
        chosen = super().filter_queryset(queryset)
        if self.form.cleaned_data.get("show") == "retired":
            return chosen
        return chosen.filter(is_retired=False)

    def find(self, queryset: Any, name: str, value: str) -> Any:
        return queryset.filter(
            Q(tag__icontains=value) | Q(serial__icontains=value) | Q(type__name__icontains=value)
        )

    def pick(self, queryset: Any, name: str, value: str) -> Any:
        if value == "fitted":
            return queryset.filter(rig_number__gt=0)
        if value == "shelf":
            return queryset.filter(rig_number=0, is_retired=False)
        return queryset.filter(is_retired=True)


class ServiceFilter(filters.FilterSet):
    """Services of one kind of component; retired ones only when asked for."""

    kind = filters.ModelChoiceFilter(
        label="Kind", field_name="kind", queryset=lambda _: kinds(), empty_label="all"
    )
    show = filters.ChoiceFilter(
        label="Show", empty_label="in use", method="pick", choices=[("retired", "retired")]
    )

    class Meta:
        model = Service
        fields: list[str] = []

    def filter_queryset(self, queryset: QuerySet[Service]) -> QuerySet[Service]:
        chosen = super().filter_queryset(queryset)
        is_retired = self.form.cleaned_data.get("show") == "retired"
        return chosen.filter(is_retired=is_retired)

    def pick(self, queryset: Any, name: str, value: str) -> Any:
        return queryset
