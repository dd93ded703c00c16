"""Meters and their readings."""

from typing import Any

from django import forms

from sites.core.rulebook import METER, READING
from sites.forms.base import RegisterForm
from sites.models import Meter, MeterReading
from sites.queries.falling_counter import falling_counter
from sites.queries.site_page import local_today


class MeterForm(RegisterForm):
    class Meta:
        model = Meter
        fields = METER.names


class MeterReadingForm(RegisterForm):
    """A reading below the last one is kept only when a person says that the counter passed its end."""

    passed_its_end = forms.BooleanField(
        label="The counter passed its end and started again at 0", required=False, widget=forms.HiddenInput
    )

    class Meta:
        model = MeterReading
        fields = READING.names

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if "read_on" in cleaned and "counter" in cleaned:
            row, meter = self.instance, self.instance.meter
            typed = MeterReading(pk=row.pk, meter=meter, read_on=cleaned["read_on"], counter=cleaned["counter"])
            if falling := falling_counter(typed):
                self.fields["passed_its_end"].widget = forms.CheckboxInput()
                if cleaned.get("passed_its_end"):
                    cleaned["note"] = cleaned.get("note") or falling.note
                else:
                    self.add_error("passed_its_end", falling.question)
        return cleaned

    @classmethod
    def first_on(cls, meter: Meter) -> dict[str, Any]:
        return {"read_on": local_today(meter.site)}


def reading_form_for(meter: Meter) -> MeterReadingForm:
    """An empty form for the site page, where several meters may stand side by side."""
    return MeterReadingForm(
        instance=MeterReading(meter=meter), initial=MeterReadingForm.first_on(meter), auto_id=f"meter{meter.pk}_%s"
    )
