"""Meters and their readings."""

from typing import Any

from django import forms

from sites.core import writing
from sites.core.units import format_quantity
from sites.forms.base import RegisterForm
from sites.models import Firm, Meter, MeterReading
from sites.queries.site_page import local_today, used_between


class MeterForm(RegisterForm):
    parent = "site"

    class Meta:
        model = Meter
        fields = ["serial_number", "unit", "digits", "multiplier", "irrigation_only", "removed_on"]
        labels = {"unit": "The counter counts in"}
        help_texts = {"multiplier": "The counter counts this many of its units a step; 1 for most meters."}


class MeterReadingForm(RegisterForm):
    """A reading below the last one is kept only when a person says that the counter passed its end."""

    parent = "meter"
    passed_its_end = forms.BooleanField(
        label="The counter passed its end and started again at 0", required=False, widget=forms.HiddenInput
    )

    class Meta:
        model = MeterReading
        fields = ["read_on", "read_at", "counter", "estimated", "note"]

    def clean_read_on(self) -> Any:
        read_on = self.cleaned_data["read_on"]
        if read_on > local_today(self.instance.meter.site):
            raise forms.ValidationError("This day has not come yet.")
        if self._other_readings().filter(read_on=read_on).exists():
            raise forms.ValidationError("This meter already has a reading on this day. Edit that one.")
        return read_on

    def clean_counter(self) -> Any:
        counter, digits = self.cleaned_data["counter"], self.instance.meter.digits
        if counter < 0:
            raise forms.ValidationError("Ensure this value is greater than or equal to 0.")
        if counter >= 10**digits:
            raise forms.ValidationError(f"The counter has {digits} digits before the point.")
        return counter

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if "read_on" in cleaned and cleaned.get("counter", -1) >= 0:
            self._question_a_falling_counter(cleaned)
        return cleaned

    def _question_a_falling_counter(self, cleaned: dict[str, Any]) -> None:
        """Compare with the readings before and after in time; ask with the amount a rollover would mean."""
        meter, others = self.instance.meter, self._other_readings()
        this = MeterReading(meter=meter, read_on=cleaned["read_on"], counter=cleaned["counter"])
        before = others.filter(read_on__lt=this.read_on).order_by("-read_on").first()
        after = others.filter(read_on__gt=this.read_on).order_by("read_on").first()
        for first, second, place in ((before, this, "before"), (this, after, "after")):
            if first is None or second is None or second.counter >= first.counter:
                continue
            self.fields["passed_its_end"].widget = forms.CheckboxInput()
            if not cleaned.get("passed_its_end"):
                self.add_error("passed_its_end", self._falling_words(before if place == "before" else after, place))
                return
            used = format_quantity(used_between(meter, first, second), "volume", Firm.current().units)
            cleaned["note"] = cleaned.get("note") or f"counter passed its end, {used} used"

    def _falling_words(self, other: MeterReading, place: str) -> str:
        meter, this = self.instance.meter, MeterReading(counter=self.cleaned_data["counter"])
        first, second = (other, this) if place == "before" else (this, other)
        used = format_quantity(used_between(meter, first, second), "volume", Firm.current().units)
        compared = "lower than the reading before" if place == "before" else "higher than the next reading"
        return (
            f"This is {compared} ({other.counter:f} on {writing.day(other.read_on)}). Typing slip? Correct it above. "
            f"Did the counter pass its end? Then tick here; it would mean {used} used. Was the meter replaced? "
            "Then enter the day the old one was removed and add the new meter."
        )

    def _other_readings(self) -> Any:
        return self.instance.meter.readings.exclude(pk=self.instance.pk)

    @classmethod
    def first_on(cls, meter: Meter) -> dict[str, Any]:
        return {"read_on": local_today(meter.site)}


def reading_form_for(meter: Meter) -> MeterReadingForm:
    """An empty form for the site page, where several meters may stand side by side."""
    return MeterReadingForm(
        instance=MeterReading(meter=meter), initial=MeterReadingForm.first_on(meter), auto_id=f"meter{meter.pk}_%s"
    )
