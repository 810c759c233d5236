"""Forms about the two sides of a rig: nothing is wrong, or a service is wanted sooner."""

from typing import Any

from django import forms

from equipment.forms.fields import DayField, SentForm, WhyField
from equipment.models import Due


class DismissForm(SentForm):
    """Why nothing is wrong with a pair that left its baseline."""

    reason = WhyField(
        label="Why nothing is wrong",
        help_text="What was looked at: “catch test right, new resin since Monday”.",
    )


class DueField(forms.ModelChoiceField):
    """A service by its name and the component it is due on."""

    def label_from_instance(self, obj: Due) -> str:
        place = obj.position.label if obj.position else obj.component.tag
        return f"{place}, {obj.version.service.name}"


class ForwardForm(SentForm):
    """Which service, by when, and why."""

    due = DueField(label="Service", queryset=Due.objects.none(), empty_label="Choose a service")
    due_on = DayField(label="Wanted by")
    reason = WhyField()

    def __init__(self, *args: Any, dues: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["due"]
        assert isinstance(field, DueField)
        field.queryset = dues

    def clean_due_on(self) -> Any:
        day = self.cleaned_data["due_on"]
        if day < self.today:
            raise forms.ValidationError("That day has gone by.")
        if day.year > self.today.year + 5:
            raise forms.ValidationError("Check the year.")
        return day
