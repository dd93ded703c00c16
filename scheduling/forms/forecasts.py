"""The coming days of a station, a row a day; what is left empty is left to the station's normals."""

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django import forms

from scheduling.actions.forecasts import ENTERED
from scheduling.models import ForecastDay
from sites.core import writing
from sites.forms.quantities import QuantityModelForm
from sites.models import WeatherStation

DAYS_AHEAD = 7


class ForecastDayForm(QuantityModelForm):
    quantities = {
        "precipitation_mm": "depth",
        "temp_max_c": "temperature",
        "temp_min_c": "temperature",
        "eto_mm": "depth",
    }

    class Meta:
        model = ForecastDay
        fields = ["precipitation_mm", "rain_chance_percent", "temp_max_c", "temp_min_c", "eto_mm"]

    def __init__(self, *args: Any, instance: ForecastDay, **kwargs: Any) -> None:
        # Only what somebody typed is shown as typed; a computed figure is computed again.
        self.computed_eto_mm = None
        if instance.eto_method != ENTERED:
            self.computed_eto_mm, instance.eto_mm = instance.eto_mm, None
        super().__init__(*args, instance=instance, **kwargs)
        for field in self.fields.values():
            field.widget.attrs["aria-label"] = f"{field.label}, {writing.full_day(instance.date)}"

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        warm, cold = cleaned.get("temp_max_c"), cleaned.get("temp_min_c")
        if not {"temp_max_c", "temp_min_c"} & set(self.errors):
            if (warm is None) != (cold is None):
                self.add_error("temp_max_c" if warm is None else "temp_min_c", "Give both temperatures or none.")
            elif warm is not None and cold > warm:
                self.add_error("temp_min_c", "Lies above the maximum.")
        chance_alone = cleaned.get("rain_chance_percent") is not None and cleaned.get("precipitation_mm") is None
        if chance_alone and "precipitation_mm" not in self.errors:
            self.add_error("precipitation_mm", "Give the rain that has this chance.")
        return cleaned


def forecast_forms(
    station: WeatherStation, today: dt.date, data: Mapping[str, str] | None = None
) -> list[ForecastDayForm]:
    """A form for each of the coming days. A page that was opened yesterday sends yesterday's days: they are kept."""
    first = _first_day(data, today)
    dates = [first + dt.timedelta(days=number) for number in range(DAYS_AHEAD)]
    stored = {day.date: day for day in ForecastDay.objects.filter(station=station, date__in=dates)}
    return [
        ForecastDayForm(
            data, instance=stored.get(date) or ForecastDay(station=station, date=date), prefix=date.isoformat()
        )
        for date in dates
    ]


def _first_day(data: Mapping[str, str] | None, today: dt.date) -> dt.date:
    field = forms.DateField(required=False, input_formats=["%Y-%m-%d"])
    try:
        sent = field.clean((data or {}).get("first_day"))
    except forms.ValidationError:
        sent = None
    return sent if sent is not None and abs((sent - today).days) <= DAYS_AHEAD else today
