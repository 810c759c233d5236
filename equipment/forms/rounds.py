"""The operator's round: one small form for each check and each face, all sent at once."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django import forms
from django.utils.translation import gettext, gettext_lazy, ngettext

from equipment.forms.fields import DayField, SentForm, SpokenForm
from equipment.forms.readings import NOT_YET, FaceForm, FacesOfARig
from equipment.models import Counter, RoundAnswer, RoundItem
from equipment.services import NewAnswer

Answer = RoundAnswer.Answer


class AnswerForm(SpokenForm):
    """What one check showed."""

    answer = forms.ChoiceField(
        choices=[
            (Answer.RIGHT, gettext_lazy("In order")),
            (Answer.WRONG, gettext_lazy("Not right")),
            (Answer.NOT_APPLICABLE, gettext_lazy("It does not apply here")),
        ],
        widget=forms.RadioSelect,
        error_messages={
            "required": gettext_lazy("Answer this check, or say that it does not apply.")
        },
    )
    note = forms.CharField(label=gettext_lazy("What is not right"), max_length=200, required=False)
    is_grave = forms.BooleanField(label=gettext_lazy("Rig must not leave"), required=False)

    def __init__(
        self, *args: Any, item: RoundItem, rest_is_right: bool = False, **kwargs: Any
    ) -> None:
        """rest_is_right: a check that was not answered was found in order."""
        super().__init__(*args, prefix=f"i{item.pk}", **kwargs)
        self.item = item
        self.fields["answer"].required = not rest_is_right
        #: Where this check begins a new place along the rig.
        self.begins_place = False

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("answer") == "":
            cleaned["answer"] = Answer.RIGHT
        if cleaned.get("answer") == Answer.WRONG and not cleaned.get("note", "").strip():
            self.add_error("note", gettext("Say what is not right."))
        return cleaned

    def said(self) -> NewAnswer:
        """The answer as the round keeps it. What does not belong to it is left out."""
        is_wrong = self.cleaned_data["answer"] == Answer.WRONG
        return NewAnswer(
            item=self.item,
            answer=self.cleaned_data["answer"],
            note=self.cleaned_data["note"] if is_wrong else "",
            is_grave=is_wrong and self.cleaned_data["is_grave"],
        )


class RoundForm(FacesOfARig, SentForm):
    """One round of a rig. The day is the one on which the page was opened: midnight may pass.

    counters: (counter, place of the component it travels with or nothing), to be read on the way.
    Sent with `rest`, whatever was not answered was found in order.
    """

    day = DayField(widget=forms.HiddenInput)
    rest = forms.BooleanField(required=False, widget=forms.HiddenInput)

    def __init__(
        self,
        data: Any,
        *,
        now: datetime,
        day: date,
        items: Sequence[RoundItem],
        counters: Sequence[tuple[Counter, str]] = (),
        **kwargs: Any,
    ) -> None:
        super().__init__(data, now=now, initial={"day": day}, **kwargs)
        rest_is_right = bool(data and data.get("rest"))
        self.answers = [
            AnswerForm(data, now=now, item=item, rest_is_right=rest_is_right) for item in items
        ]
        self.faces = [
            FaceForm(data, now=now, counter=counter, place=place) for counter, place in counters
        ]
        for before, each in zip([None, *self.answers], self.answers, strict=False):
            each.begins_place = before is None or before.item.kind != each.item.kind

    def clean_day(self) -> date:
        day: date = self.cleaned_data["day"]
        if not self.today - timedelta(days=1) <= day <= self.today:
            raise forms.ValidationError(gettext("A round is recorded on its own day."))
        return day

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        open_ = sum(not each.is_valid() for each in self.answers)
        if open_:
            said = ngettext(
                "One check is still open. Nothing is kept yet.",
                "{count} checks are still open. Nothing is kept yet.",
                open_,
            )
            self.add_error(None, said.format(count=open_))
        wrong_faces = sum(not face.is_valid() for face in self.faces)
        if wrong_faces and not open_:
            self.add_error(None, NOT_YET)
        if "day" in self.errors:
            self.add_error(None, self.errors.pop("day").as_data())
        return cleaned

    def said(self) -> list[NewAnswer]:
        return [each.said() for each in self.answers]
