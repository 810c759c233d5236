"""What a phone sends with a photo of found work."""

from typing import Any

from django import forms
from django.utils.translation import gettext

from equipment.forms.photos import NOT_COME, looked_at
from equipment.pictures import Picture


class SheetPhotoForm(forms.Form):
    """One photo, whose it is, and the entry that reported what it shows."""

    pen = forms.CharField(max_length=500)
    photo_id = forms.UUIDField()
    event_id = forms.UUIDField()
    photo = forms.FileField(
        max_length=200, error_messages={**NOT_COME, "required": NOT_COME["invalid"]}
    )

    picture: Picture | None = None

    def clean_photo(self) -> Any:
        self.picture = looked_at(self.cleaned_data["photo"])
        return self.cleaned_data["photo"]

    @property
    def first_error(self) -> str:
        """What is wrong, in words: of the photo, else of what stands around it."""
        if "photo" in self.errors:
            return str(self.errors["photo"][0])
        return gettext("The photo came without saying what it shows. Send it again.")
