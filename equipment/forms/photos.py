"""Photos that may go with a sending, and that are not lost when something else is refused."""

from collections.abc import Iterable
from typing import Any, Final

from django import forms
from django.http import QueryDict
from django.utils.text import format_lazy
from django.utils.translation import gettext, gettext_lazy

from equipment.pictures import Picture, PictureRefused, shrink
from equipment.services.photos import MOST_OF_FOUND_WORK, is_stored

MOST_MEGABYTES: Final = 25
#: Photos in one sending.
MOST_AT_ONCE: Final = 6
#: Without HEIC in the list a phone that takes such photos sends JPEG.
PICTURE_TYPES: Final = "image/jpeg,image/png,image/webp"
NOT_COME: Final = {
    "empty": gettext_lazy("The photo came empty. Take it again."),
    "invalid": gettext_lazy("The photo did not come along. Take it again."),
    "max_length": gettext_lazy("The photo's file name is too long."),
}


def looked_at(file: Any) -> Picture:
    """What is kept of a photo that was sent. file: an upload. Raises ValidationError, in words."""
    if (file.size or 0) > MOST_MEGABYTES * 1024 * 1024:
        raise forms.ValidationError(
            gettext("The photo is larger than {most} MB. Take it with a smaller size.").format(
                most=MOST_MEGABYTES
            )
        )
    try:
        return shrink(file)
    except PictureRefused as refused:
        raise forms.ValidationError(refused.said(gettext)) from refused


class PhotoFields(forms.Form):
    """A photo chosen or taken now, or one that came with a sending that was refused.

    `photo_id` is the hash of the latter: a browser does not give a file back.
    """

    photo = forms.FileField(
        label="Photo of the faces",
        required=False,
        widget=forms.FileInput(attrs={"accept": PICTURE_TYPES, "capture": "environment"}),
        error_messages=NOT_COME,
        max_length=200,
    )
    # Whatever is in it that is no such hash is nothing: nobody types here.
    photo_id = forms.Field(required=False, widget=forms.HiddenInput)

    #: The photo of this sending, once it was looked at.
    picture: Picture | None = None

    def clean_photo(self) -> Any:
        file = self.cleaned_data["photo"]
        if file is not None:
            self.picture = looked_at(file)
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


class SeveralFiles(forms.FileInput):
    """A field for files of which several may be chosen."""

    allow_multiple_selected = True

    def value_from_datadict(self, data: Any, files: Any, name: str) -> Any:
        return files.getlist(name) if hasattr(files, "getlist") else files.get(name)


class PhotosField(forms.FileField):
    """Several photos; cleans to a list of pictures."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("required", False)
        kwargs.setdefault("widget", SeveralFiles(attrs={"accept": PICTURE_TYPES, "multiple": True}))
        kwargs.setdefault("error_messages", NOT_COME)
        super().__init__(max_length=200, **kwargs)

    def clean(self, data: Any, initial: Any = None) -> list[Picture]:
        files = [each for each in data or [] if each]
        if len(files) > MOST_AT_ONCE:
            raise forms.ValidationError(
                gettext("Send at most {most} photos at once.").format(most=MOST_AT_ONCE)
            )
        if not files:
            super().clean(None, initial)
        return [looked_at(super(PhotosField, self).clean(each, initial)) for each in files]


class PhotosFields(forms.Form):
    """Photos chosen or taken now, and those that came with a sending that was refused."""

    photos = PhotosField(
        label=gettext_lazy("Photos"),
        help_text=format_lazy(
            gettext_lazy(
                "Up to {most} at once, JPEG, PNG or WEBP. They are made small, and where they were"
                " taken is left out."
            ),
            most=MOST_AT_ONCE,
        ),
    )
    photo_ids = forms.Field(required=False, widget=forms.HiddenInput)

    def clean_photo_ids(self) -> list[str]:
        digests = str(self.cleaned_data["photo_ids"] or "")[: 65 * MOST_OF_FOUND_WORK].split(",")
        return list(dict.fromkeys(each for each in digests if is_stored(each)))

    def hold(self, digests: Iterable[str]) -> None:
        """Keep stored photos in the page that comes back."""
        kept = list(dict.fromkeys([*self.held, *digests]))
        sent = QueryDict(mutable=True)
        sent.update(self.data)
        sent[self.add_prefix("photo_ids")] = ",".join(kept)
        self.data = sent
        self.cleaned_data["photo_ids"] = kept

    @property
    def pictures(self) -> list[Picture]:
        """The photos of this sending, once they were looked at."""
        return self.cleaned_data.get("photos") or [] if self.is_bound else []

    @property
    def held(self) -> list[str]:
        """The hashes of the photos that an earlier try brought."""
        return self.cleaned_data.get("photo_ids") or [] if self.is_bound else []
