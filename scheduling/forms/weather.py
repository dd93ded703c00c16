"""Forms of the weather pages: a station, and a file of its days."""

from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile

from scheduling.actions.weather import FORMATS
from scheduling.models import WeatherImport
from sites.core.rulebook import STATION
from sites.forms.base import RegisterForm
from sites.models import WeatherStation

LARGEST_FILE_MB = 20


class StationForm(RegisterForm):
    class Meta:
        model = WeatherStation
        fields = STATION.names


class ImportForm(forms.Form):
    """A station file; once a file was refused it stays with us and need not be chosen again."""

    file = forms.FileField(
        error_messages={"required": "Choose the station’s file."},
        help_text=f"Text in UTF-8, at most {LARGEST_FILE_MB} MB.",
    )
    file_format = forms.ChoiceField(
        label="Format", choices=[(key, words) for key, words in FORMATS.items() if key != "seattle"]
    )
    keep_good_rows = forms.BooleanField(
        label="Keep the good rows", required=False, help_text="Store what is right although other rows are not."
    )

    def __init__(self, *args: Any, refused: WeatherImport | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.refused = refused
        self.text = ""
        if refused is not None:
            self.fields["file"].required = False
            self.fields["file"].help_text = f"{refused.file_name} is still here. Choose a file only to replace it."

    def clean_file(self) -> UploadedFile | None:
        file = self.cleaned_data["file"]
        if file is None:
            return None
        if file.size > LARGEST_FILE_MB * 1024 * 1024:
            raise forms.ValidationError(f"{file.name} is larger than {LARGEST_FILE_MB} MB. Split it by years.")
        try:
            self.text = file.read().decode("utf-8-sig")
        except UnicodeDecodeError as error:
            raise forms.ValidationError(f"{file.name} is not UTF-8 text (byte {error.start}).") from error
        if "\0" in self.text:
            raise forms.ValidationError(f"{file.name} is not a text file.")
        return file
