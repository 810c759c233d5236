"""Filters of the shop's lists. They live in the address, so that a list can be kept and sent."""

from datetime import date, timedelta
from typing import Any

import django_filters as filters
from django import forms
from django.db.models import Exists, OuterRef, QuerySet

from equipment.models import ComponentKind, Due, Finding, Rig, Skill
from shop.duelist import DATE, KITS, ODDS, RIG

#: Search as one types: the results below renew, the address follows.
SEARCH = {"type": "search", "autocomplete": "off"}

BEFORE = [
    ("overdue", "overdue"),
    ("due", "due by today"),
    ("soon", "due soon"),
    ("month", "30 days"),
    ("all", "everything"),
]
MONTH = timedelta(days=30)
#: A fleet longer than this is asked for by number: nobody looks through such a list.
MOST_CHOICES = 100


class DueFilter(filters.FilterSet):
    """Narrow the due list. Each choice is a bound on an indexed column of the due row itself.

    A service that is due or overdue has a date in the past whatever made it so, hence the bound on
    the date in each choice: it keeps the query on the index.
    """

    rig = filters.ChoiceFilter(field_name="rig_number", label="Rigs", empty_label="all")
    kind = filters.ModelChoiceFilter(
        label="Component", empty_label="all", queryset=ComponentKind.objects.order_by("name")
    )
    skill = filters.ChoiceFilter(label="Skill", empty_label="all", choices=Skill.choices)
    before = filters.ChoiceFilter(
        label="Falls due within", empty_label=None, choices=BEFORE, method="fall_due"
    )
    sort = filters.ChoiceFilter(
        label="Sort by",
        empty_label=None,
        choices=[
            (DATE, "date"),
            (ODDS, "odds"),
            (RIG, "rig"),
            (KITS, "price of its kits"),
        ],
        method="sort_later",
    )
    by = filters.DateFilter(
        label="Odds before",
        method="sort_later",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": "Write the day like 2026-12-24."},
    )

    class Meta:
        model = Due
        fields: list[str] = []

    def __init__(self, data: Any, *args: Any, today: date, warning_days: int, **kwargs: Any):
        filled = data.copy()
        filled.setdefault("before", "month")
        filled.setdefault("sort", DATE)
        super().__init__(filled, *args, **kwargs)
        self.today = today
        self.warning_days = warning_days
        self.filters["by"].extra["validators"] = [self._lies_ahead]
        rigs = list(
            Rig.objects.working()
            .order_by("number")
            .values_list("number", "name")[: MOST_CHOICES + 1]
        )
        if len(rigs) > MOST_CHOICES:
            self.filters["rig"] = filters.NumberFilter(
                field_name="rig_number", label="Rig number", min_value=1, max_value=9999
            )
        else:
            self.filters["rig"].extra["choices"] = [
                (f"{number}", f"{number:02d} {name}") for number, name in rigs
            ]

    def _lies_ahead(self, day: date) -> None:
        if day <= self.today:
            raise forms.ValidationError("Ask about a day after today.")

    def _until(self, span: str) -> date | None:
        return {
            "overdue": self.today,
            "due": self.today,
            "soon": self.today + timedelta(days=self.warning_days),
            "month": self.today + MONTH,
        }.get(span)

    def fall_due(self, queryset: Any, name: str, value: str) -> Any:
        until = self._until(value)
        if until is None:
            return queryset
        queryset = queryset.filter(due_date__lte=until)
        return queryset.overdue(self.today) if value == "overdue" else queryset

    def sort_later(self, queryset: Any, name: str, value: str) -> Any:
        """The order goes with the cursor, the odds with the rows: see shop/views/due.py."""
        return queryset

    def filter_queryset(self, queryset: Any) -> Any:
        rows = super().filter_queryset(queryset)
        # What a bigger service stands for is named in its row, not listed beside it.
        return rows.filter(bigger_date__gt=self.folded_to) if self.folded_to else rows

    @property
    def order(self) -> str:
        return str(self.form.cleaned_data.get("sort") or DATE)

    @property
    def odds_before(self) -> date | None:
        """The day before which odds are asked for; None: each rig's next stay."""
        return self.form.cleaned_data.get("by")

    @property
    def folded_to(self) -> date | None:
        """Smaller services stand in the row of a bigger one that falls due by this day.

        Never where the bigger one may be missing from the list: overdue is asked of each alone,
        and the bigger may need another skill.
        """
        data = self.form.cleaned_data
        if data.get("before") == "overdue" or data.get("skill"):
            return None
        return self.until or self.today + MONTH

    @property
    def until(self) -> date | None:
        """The last day of the span asked for; None: everything."""
        return self._until(str(self.form.cleaned_data.get("before")))


class RigFilter(filters.FilterSet):
    """Find rigs by number or name, and by what keeps them from leaving."""

    q = filters.CharFilter(label="Find a rig", method="find", widget=forms.TextInput(attrs=SEARCH))
    show = filters.ChoiceFilter(
        label="Show",
        empty_label="all",
        method="pick",
        choices=[
            ("overdue", "with something overdue"),
            ("held", "held by found work"),
            ("laid_up", "laid up"),
        ],
    )

    class Meta:
        model = Rig
        fields: list[str] = []

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today

    def find(self, queryset: QuerySet[Rig], name: str, value: str) -> QuerySet[Rig]:
        """Every word in the number, name or description, whatever its case.

        Compared here, since SQLite folds the case of no letter beyond A to Z.
        """
        asked = value.casefold().split()
        found = [
            pk
            for pk, number, *texts in Rig.objects.values_list("pk", "number", "name", "description")
            if all(word in f"{number:02d} {' '.join(texts)}".casefold() for word in asked)
        ]
        return queryset.filter(pk__in=found)

    def pick(self, queryset: QuerySet[Rig], name: str, value: str) -> QuerySet[Rig]:
        if value == "laid_up":
            return queryset.filter(is_laid_up=True)
        if value == "held":
            on_rig = Finding.objects.holding().filter(rig=OuterRef("pk"))
            on_part = Finding.objects.holding().filter(
                component__installations__removed_at__isnull=True,
                component__installations__position__rig=OuterRef("pk"),
            )
            return queryset.filter(Exists(on_rig) | Exists(on_part))
        rows = Due.objects.listed().filter(rig_number=OuterRef("number"), due_date__lte=self.today)
        return queryset.filter(Exists(rows.overdue(self.today)))
