"""What goes on around the work on a sheet: until when it lasted, handing over, waiting."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext, gettext_lazy

from equipment.forms.fields import ClockField, SentForm, SeveralField
from inventory.models import Part
from shop.forms.sheets import crew
from shop.models import Person
from shop.worktime import Stretch

DAY = timedelta(days=1)


class UntilForm(SentForm):
    """Until when somebody worked who left their time running.

    After cleaning, `at` is the moment. Sent with "sure", it is the end of the stretch as it is.
    """

    until = ClockField(label=gettext_lazy("Until when?"), required=False)
    sure = forms.BooleanField(required=False, widget=forms.HiddenInput)
    at: datetime

    def __init__(self, *args: Any, stretch: Stretch, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.stretch = stretch

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        end = self.stretch.end or self.now
        self.at = end
        if cleaned.get("sure") or "until" in self.errors:
            return cleaned
        until = cleaned.get("until")
        if until is None:
            self.add_error("until", gettext("Say until when, like 17:30."))
            return cleaned
        zone = timezone.get_current_timezone()
        began = self.stretch.start.astimezone(zone)
        # The first time that the clock showed it after the start.
        self.at = datetime.combine(began.date(), until, zone)
        if self.at <= began:
            self.at = datetime.combine(began.date() + DAY, until, zone)
        if self.at > end:
            why = gettext("It began at {time}, and that time has not come since.")
            self.add_error("until", why.format(time=f"{began:%H:%M}"))
        return cleaned


class HandOverForm(SentForm):
    """A word for the next one, and who that is."""

    words = forms.CharField(
        label=gettext_lazy("What the next one must know"),
        max_length=300,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": gettext_lazy("Say in a word what the next one must know.")},
    )
    to = forms.ModelChoiceField(
        label=gettext_lazy("Who goes on with it"),
        queryset=Person.objects.none(),
        required=False,
        empty_label=gettext_lazy("whoever comes next"),
        error_messages={"invalid_choice": gettext_lazy("Choose one of the crew.")},
    )

    def __init__(self, *args: Any, author: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["to"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = crew().exclude(pk=author.pk)


class WaitForm(SentForm):
    """What is missing: parts of the sheet that are short, or a few words."""

    parts = SeveralField(
        label=gettext_lazy("What is missing"),
        queryset=Part.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        error_messages={
            "invalid_choice": gettext_lazy("The sheet has changed. Look at what is missing again.")
        },
    )
    missing = forms.CharField(
        label=gettext_lazy("What else is missing"),
        max_length=300,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def __init__(self, *args: Any, short: Iterable[tuple[Part, str]], **kwargs: Any) -> None:
        """short: parts that the sheet is short of, each with how much in words."""
        super().__init__(*args, **kwargs)
        rows = list(short)
        field = self.fields["parts"]
        assert isinstance(field, SeveralField)
        field.queryset = Part.objects.filter(pk__in=[part.pk for part, _ in rows])
        field.choices = [(part.pk, f"{part.name} {part.number}, {text}") for part, text in rows]
        if rows:
            field.initial = [part.pk for part, _ in rows]
        else:
            del self.fields["parts"]
            self.fields["missing"].label = gettext_lazy("What is missing")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if not self.errors and not cleaned.get("parts") and not cleaned["missing"].strip():
            self.add_error("missing", gettext("Say what is missing."))
        return cleaned
