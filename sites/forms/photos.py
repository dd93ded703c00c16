"""The upload of one photo. What is in the file is judged by the action that stores it."""

from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile

from sites.actions.photos import ACCEPTED_TYPES, LARGEST_BYTES, checked_picture
from sites.forms.base import OwnForm


class UploadField(forms.FileField):
    """A picture that `store_photo` will take; else the reason stands beside the field."""

    widget = forms.FileInput(attrs={"accept": ",".join(ACCEPTED_TYPES)})

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("help_text", f"JPEG, PNG or WebP, up to {LARGEST_BYTES // 2**20} MB.")
        kwargs.setdefault("allow_empty_file", True)  # an empty file is refused in our own words
        super().__init__(**kwargs)

    def clean(self, data: Any, initial: Any = None) -> UploadedFile:
        upload = super().clean(data, initial)
        if upload:
            checked_picture(upload)
        return upload


class PhotoForm(OwnForm):
    upload = UploadField(label="Photo")
    caption = forms.CharField(max_length=200, required=False)
