"""Entering a catch-can test: the cans as one pasted list, one can a number."""

import datetime as dt
import re
from typing import Any

from django import forms
from django.utils import timezone

from scheduling.models import CatchCanTest
from sites.forms.base import use_native_pickers
from sites.forms.quantities import QuantityModelForm

FEWEST, MOST = 4, 400
LARGEST_ML = 5000.0
# A list from a spreadsheet or a note: numbers apart by spaces, lines, tabs, semicolons or commas.
BETWEEN = re.compile(r"[\s;,]+")


class CatchesField(forms.CharField):
    """Millilitres of each can; cleans to a list of numbers and says which entry is none."""

    widget = forms.Textarea(attrs={"rows": 5, "inputmode": "decimal", "spellcheck": "false"})

    def prepare_value(self, value: Any) -> Any:
        return " ".join(f"{catch:g}" for catch in value) if isinstance(value, list) else value

    def clean(self, value: Any) -> list[float]:
        words = [word for word in BETWEEN.split(super().clean(value)) if word]
        catches = [self._number(place, word) for place, word in enumerate(words, start=1)]
        if not FEWEST <= len(catches) <= MOST:
            raise forms.ValidationError(f"{len(catches)} cans were read; a test needs {FEWEST} to {MOST}.")
        if sum(catches) == 0:
            raise forms.ValidationError("No can caught any water.")
        return catches

    def _number(self, place: int, word: str) -> float:
        try:
            catch = float(word)
        except ValueError:
            raise forms.ValidationError(
                f"Can {place}: “{word[:20]}” is no number. Write one number a can, with a point for decimals."
            ) from None
        if not 0 <= catch <= LARGEST_ML:
            raise forms.ValidationError(f"Can {place}: {word[:20]} mL is outside 0 to {LARGEST_ML:g}.")
        return catch


class CatchCanForm(QuantityModelForm):
    quantities = {"wind_m_s": "speed"}
    catches_ml = CatchesField(
        label="Catches, mL",
        help_text="One number a can, row by row over the ground: pasted, or typed with spaces or lines between.",
    )

    class Meta:
        model = CatchCanTest
        fields = ["tested_on", "minutes", "mouth_cm2", "catches_ml", "cans_per_row", "wind_m_s", "note"]
        help_texts = {"cans_per_row": "For the map; left empty, the cans are drawn as a square."}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        use_native_pickers(self.fields)

    def clean_tested_on(self) -> dt.date:
        day = self.cleaned_data["tested_on"]
        if day > timezone.localdate():
            raise forms.ValidationError("The test cannot lie in the future.")
        return day
