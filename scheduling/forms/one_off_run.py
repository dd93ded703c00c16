"""What a one-off run is to be: all zones for a test, one zone, or a program as published."""

import datetime as dt
from typing import Any

from django import forms

from scheduling.core.sequence.programs import Step
from scheduling.forms.schedules import LONGEST_RUN_MIN
from scheduling.queries.one_off_run import (
    all_zones,
    program_steps,
    published_programs,
    zone_valves,
    zones_without_valve,
)
from sites.converters import FIRST_YEAR, LAST_YEAR
from sites.forms.base import choice_field, use_native_pickers
from sites.models import Controller, Valve

ALL = "all"
TEST_MINUTES = 2.0  # a walk-through of all zones: common practice, no source


class OneOffRunForm(forms.Form):
    use_required_attribute = False
    what = forms.ChoiceField(label="Run")
    minutes = forms.FloatField(
        label="Minutes a zone",
        min_value=0.5,
        max_value=LONGEST_RUN_MIN,
        required=False,
        help_text="A program runs with its own minutes.",
        widget=forms.NumberInput(attrs={"step": "any", "inputmode": "decimal"}),
    )
    day = forms.DateField(label="On")
    time = forms.TimeField(label="From")

    def __init__(self, data: Any, *, controller: Controller, now: dt.datetime) -> None:
        super().__init__(
            data,
            initial={"what": ALL, "minutes": f"{TEST_MINUTES:g}", "day": now.date(), "time": f"{now:%H:%M}"},
        )
        use_native_pickers(self.fields)
        self.controller, self.zone = controller, now.tzinfo
        self.programs = {f"program-{row.pk}": row for row in published_programs(controller)}
        self.valves = {f"valve-{row.pk}": row for row in zone_valves(controller)}
        choice_field(self, "what").choices = [
            (ALL, "test of all zones"),
            *((key, f"{row.name}, as published") for key, row in self.programs.items()),
            *((key, _valve_words(row)) for key, row in self.valves.items()),
        ]

    def clean_day(self) -> dt.date:
        day = self.cleaned_data["day"]
        if not FIRST_YEAR <= day.year <= LAST_YEAR:
            raise forms.ValidationError("Look at the year.")
        return day

    def clean(self) -> dict:
        cleaned = super().clean() or self.cleaned_data
        if (
            cleaned.get("minutes") is None
            and cleaned.get("what") not in self.programs
            and "minutes" not in self.errors
        ):
            self.add_error("minutes", "Give the minutes.")
        program = self.programs.get(cleaned.get("what", ""))
        lost = zones_without_valve(program) if program else []
        if lost:
            zones = ", ".join(str(zone) for zone in lost)
            self.add_error("what", f"No valve is recorded for {zones}: enter it, or run the others one by one.")
        return cleaned

    def steps(self) -> tuple[Step, ...]:
        what, minutes = self.cleaned_data["what"], self.cleaned_data["minutes"]
        if what in self.programs:
            return program_steps(self.programs[what])
        if what in self.valves:
            return (Step(self.valves[what].pk, minutes),)
        return all_zones(self.controller, minutes)

    def starts_at(self) -> dt.datetime:
        return dt.datetime.combine(self.cleaned_data["day"], self.cleaned_data["time"], tzinfo=self.zone)

    def title(self) -> str:
        what, minutes = self.cleaned_data["what"], self.cleaned_data["minutes"]
        if what in self.programs:
            return f"{self.programs[what].name} once"
        if what in self.valves:
            return f"{self.valves[what].name} for {minutes:g} min"
        return f"test of all zones at {minutes:g} min"


def _valve_words(valve: Valve) -> str:
    zones = ", ".join(str(zone) for zone in valve.zones.all())
    return f"{valve.name}: {zones}" if zones else valve.name
