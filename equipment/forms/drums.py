"""What is left in the drums, beside the readings."""

from decimal import Decimal
from typing import Any

from django import forms

from equipment.forms.fields import NumberField, SentForm, WhyField
from equipment.services.drums import LevelRefused, LevelRose, NewLevel

SIDES = ("A", "B")


class DrumFields(forms.Form):
    """Gallons left on each side, and the full size of a drum put on since the last dip."""

    a_left = NumberField(label="A drum, gallons left", required=False, places=2)
    a_new = NumberField(
        label="New A drum since then: its full size", required=False, places=2, zero=False
    )
    b_left = NumberField(label="B drum, gallons left", required=False, places=2)
    b_new = NumberField(
        label="New B drum since then: its full size", required=False, places=2, zero=False
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        for side in SIDES:
            left, new = f"{side.lower()}_left", f"{side.lower()}_new"
            has_new = cleaned.get(new) is not None
            if has_new and cleaned.get(left) is None and left not in self.errors:
                self.add_error(left, "Say what is left in the new drum.")
        return cleaned

    @property
    def has_drums(self) -> bool:
        """Whether something of the drums was typed, or is wrong."""
        names = [f"{side.lower()}_{what}" for side in SIDES for what in ("left", "new")]
        return self.is_bound and any(self[name].data or self[name].errors for name in names)

    def levels(self) -> list[NewLevel]:
        """What was dipped."""
        found = []
        for side in SIDES:
            left: Decimal | None = self.cleaned_data.get(f"{side.lower()}_left")
            if left is not None:
                found.append(NewLevel(side, left, self.cleaned_data.get(f"{side.lower()}_new")))
        return found

    def refuse_levels(self, errors: dict[str, LevelRefused]) -> None:
        """Put what the service refused beside the field it is about."""
        for side, refused in errors.items():
            name = "new" if isinstance(refused, LevelRose) else "left"
            self.add_error(f"{side.lower()}_{name}", str(refused))


class ReverseLevelForm(SentForm):
    """Why a drum level is taken back."""

    reason = WhyField()
