"""Who read which safety texts in another language."""

from collections.abc import Iterable
from typing import Any

from django import forms

from equipment.forms.fields import DayField, SpokenForm
from shop.models import TextReading
from shop.services.safety_texts import ToRead


class ReadTextsForm(SpokenForm):
    """Which texts somebody read, who, and what he does."""

    reader = forms.CharField(
        label="Who read them",
        max_length=TextReading._meta.get_field("reader").max_length,
        help_text="The name. It may be somebody outside of the shop.",
    )
    trade = forms.CharField(
        label="What that person works as",
        max_length=TextReading._meta.get_field("trade").max_length,
        help_text="Such as: spray foam technician.",
    )
    read_on = DayField(label="Read on")
    texts = forms.MultipleChoiceField(
        label="Texts", error_messages={"required": "Tick what was read."}
    )

    def __init__(self, *args: Any, listed: Iterable[ToRead], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["texts"]
        assert isinstance(field, forms.MultipleChoiceField)
        field.choices = [(each.key, each.texts[-1].english) for each in listed]
        field.error_messages["invalid_choice"] = (
            "Some of these texts are others by now. Look at them again."
        )
        self.fields["read_on"].initial = self.today

    def clean_read_on(self) -> Any:
        day = self.cleaned_data["read_on"]
        if day > self.today:
            raise forms.ValidationError("That day has not come yet.")
        return day

    @property
    def ticked(self) -> frozenset[str]:
        """The keys that were ticked, for a form that comes back."""
        return frozenset(self["texts"].value() or ())
