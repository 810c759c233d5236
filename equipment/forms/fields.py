"""Fields that read counters, days and moments, and what every form that is sent has in common."""

from datetime import date, datetime, time
from decimal import Decimal
from typing import Any, Final
from uuid import uuid4

from django import forms
from django.http import QueryDict
from django.utils import timezone
from django.utils.translation import gettext, gettext_lazy

from equipment.models import Component, ComponentKind
from equipment.values import number_of

NEEDED: Final = gettext_lazy("This is needed.")
#: What Django says in its place.
DJANGOS: Final = forms.Field.default_error_messages["required"]
#: As many as any key of ours has, and every column of keys holds.
MOST_KEY_DIGITS: Final = 18


class NumberField(forms.CharField):
    """A number as people write it; cleans to a Decimal, or None where nothing was typed.

    signed: it may be below zero, as a limit may.
    """

    def __init__(
        self, *, zero: bool = True, places: int = 3, signed: bool = False, **kwargs: Any
    ) -> None:
        self.zero = zero
        self.places = places
        self.signed = signed
        attrs = {"inputmode": "decimal", "autocomplete": "off"}
        kwargs.setdefault("widget", forms.TextInput(attrs=attrs))
        super().__init__(max_length=24, **kwargs)

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        number = number_of(text)
        if number is None:
            raise forms.ValidationError(gettext("Write a number, like 1182 or 60.5."))
        if (number < 0 and not self.signed) or (not self.zero and not number):
            raise forms.ValidationError(
                gettext("This cannot be below zero.")
                if self.zero
                else gettext("Give a number above zero.")
            )
        if abs(number) >= (10**8 if self.signed else 10**9):
            raise forms.ValidationError(gettext("That number is too large."))
        if round(number, self.places) != number:
            raise forms.ValidationError(
                gettext("At most {places} decimals.").format(places=self.places)
            )
        return number

    def prepare_value(self, value: Any) -> Any:
        return f"{value.normalize():f}" if isinstance(value, Decimal) else value


class DayField(forms.DateField):
    """A calendar day, from the browser's own picker or written as 2026-03-02."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
        kwargs.setdefault(
            "error_messages", {"invalid": gettext_lazy("Write the day like 2026-03-02.")}
        )
        super().__init__(**kwargs)

    def validate(self, value: date | None) -> None:
        """Refuse the first and the last day there are: parts of them lie in no other zone's
        calendar, so that they are no moments.
        """
        super().validate(value)
        if value in (date.min, date.max):
            raise forms.ValidationError(gettext("Check the year."))


class ClockField(forms.TimeField):
    """A time of day."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.TimeInput(attrs={"type": "time"}, format="%H:%M"))
        kwargs.setdefault("error_messages", {"invalid": gettext_lazy("Write the time like 14:30.")})
        super().__init__(**kwargs)


class WhyField(forms.CharField):
    """A reason in a few words."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("label", "Why")
        kwargs.setdefault("max_length", 200)
        kwargs.setdefault("widget", forms.Textarea(attrs={"rows": 2}))
        super().__init__(**kwargs)


class KindField(forms.ModelChoiceField):
    """A kind of component, in the order along a rig."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("label", "Kind")
        kwargs.setdefault("queryset", ComponentKind.objects.order_by("flow_order", "name"))
        kwargs.setdefault("empty_label", "Choose a kind")
        super().__init__(**kwargs)


class ComponentField(forms.ModelChoiceField):
    """A component by its tag, type and serial number."""

    def label_from_instance(self, obj: Component) -> str:
        side = f" {obj.side}" if obj.side else ""
        serial = f", serial {obj.serial}" if obj.serial else ""
        return f"{obj.tag}, {obj.type}{side}{serial}"


class SpokenForm(forms.Form):
    """A form whose empty fields are asked for in few words.

    now: the moment the view read from the clock.
    """

    def __init__(self, *args: Any, now: datetime, **kwargs: Any) -> None:
        self.now = now
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            if field.error_messages.get("required") == DJANGOS:
                field.error_messages["required"] = NEEDED

    @property
    def today(self) -> date:
        return timezone.localdate(self.now)


class SentForm(SpokenForm):
    """A form with the number of its sending, so that the same one sent twice counts once."""

    request_id = forms.UUIDField(
        widget=forms.HiddenInput,
        error_messages=dict.fromkeys(
            ("required", "invalid"), gettext_lazy("The page came incomplete. Send it again.")
        ),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["request_id"].initial = uuid4

    def full_clean(self) -> None:
        """Clean; a page that came without its number gets a new one, so that it can be sent."""
        super().full_clean()
        if self.is_bound and "request_id" in self.errors:
            incomplete = self.errors.pop("request_id").as_data()
            sent = QueryDict(mutable=True)
            sent.update(self.data)
            sent[self.add_prefix("request_id")] = str(uuid4())
            self.data = sent
            self.add_error(None, incomplete)


class WhenForm(SentForm):
    """When it happened: now, unless another day or time is typed.

    After cleaning, `at` is the moment; `is_day_only` says that only its day is known.
    """

    day = DayField(label="Day", required=False)
    time = ClockField(
        label="Time", required=False, help_text="Leave it empty when only the day is known."
    )
    at: datetime
    is_day_only: bool = False
    #: Whether a day without a time will do.
    may_be_day_only = True

    @property
    def is_another_time(self) -> bool:
        """Whether the fold stands open: something is typed in it, or wrong with it."""
        names = ("day", "time")
        return self.is_bound and any(self[name].data or self[name].errors for name in names)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        day, clock = cleaned.get("day"), cleaned.get("time")
        self.at = self.now
        if day is None and clock is None:
            return cleaned
        if day is not None and day > self.today:
            self.add_error("day", "That day has not come yet.")
        if clock is None and not self.may_be_day_only and day != self.today:
            if "time" not in self.errors:
                self.add_error("time", "Say about what time.")
            return cleaned
        self.is_day_only = clock is None and day != self.today
        if clock is None and day == self.today:
            return cleaned
        zone = timezone.get_current_timezone()
        self.at = datetime.combine(day or self.today, clock or time(12), zone)
        if clock is not None and self.at > self.now and "day" not in self.errors:
            self.add_error("time", "That time has not come yet.")
        return cleaned


class SeveralField(forms.ModelMultipleChoiceField):
    """Several of some rows. A key longer than a column of keys is no choice of ours, and is said so
    before the database is asked."""

    def clean(self, value: Any) -> Any:
        for each in value or ():
            if len(str(each)) > MOST_KEY_DIGITS:
                raise forms.ValidationError(
                    self.error_messages["invalid_choice"],
                    code="invalid_choice",
                    params={"value": f"{str(each)[:MOST_KEY_DIGITS]}…"},
                )
        return super().clean(value)
