"""The photo that may go with a sending, and that is not lost when something else is refused."""

from typing import Any, Final

from django import forms

from equipment.pictures import Picture, PictureRefused, shrink
from equipment.services.photos import is_stored

MOST_MEGABYTES: Final = 25


class PhotoFields(forms.Form):
    """A photo chosen or taken now, or one that came with a sending that was refused.

    `photo_id` is the hash of the latter: a browser does not give a file back.
    """

    photo = forms.FileField(
        label="Photo of the faces",
        required=False,
        widget=forms.FileInput(
            # Without HEIC in the list a phone that takes such photos sends JPEG.
            attrs={"accept": "image/jpeg,image/png,image/webp", "capture": "environment"}
        ),
        error_messages={
            "empty": "The photo came empty. Take it again.",
            "invalid": "The photo did not come along. Take it again.",
            "max_length": "The photo's file name is too long.",
        },
        max_length=200,
    )
    # Whatever is in it that is no such hash is nothing: nobody types here.
    photo_id = forms.Field(required=False, widget=forms.HiddenInput)

    #: The photo of this sending, once it was looked at.
    picture: Picture | None = None

    def clean_photo(self) -> Any:
        file = self.cleaned_data["photo"]
        if file is None:
            return None
        if file.size > MOST_MEGABYTES * 1024 * 1024:
            raise forms.ValidationError(
                f"The photo is larger than {MOST_MEGABYTES} MB. Take it with a smaller size."
            )
        try:
            self.picture = shrink(file)
        except PictureRefused as refused:
            raise forms.ValidationError(str(refused)) from refused
        return file

    def clean_photo_id(self) -> str:
        digest = str(self.cleaned_data["photo_id"] or "")
        return digest if is_stored(digest) else ""

    def hold(self, digest: str) -> None:
        """Keep a stored photo in the page that comes back."""
        self.data = {**dict(self.data.items()), self.add_prefix("photo_id"): digest}
        self.cleaned_data["photo_id"] = digest

    @property
    def held(self) -> str:
        """The hash of the photo that an earlier try brought, or nothing."""
        return self.cleaned_data.get("photo_id", "") if self.is_bound else ""
