"""The file a technician exported from the phone."""

from django import forms
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile

LARGEST_BYTES = 10 * 2**20


class ImportForm(forms.Form):
    file = forms.FileField(label="File exported from a phone", widget=forms.FileInput(attrs={"accept": ".json"}))

    def clean_file(self) -> UploadedFile:
        file = self.cleaned_data["file"]
        if file.size > LARGEST_BYTES:
            raise ValidationError(f"The file is larger than {LARGEST_BYTES // 2**20} MB.")
        return file
