"""Sites, clients and tariffs."""

import functools
import zoneinfo
from decimal import Decimal
from typing import Any

from django import forms
from django.db.models import Q

from sites.core.units import priced_volume
from sites.forms.base import RegisterForm, WeekdaysField, rows_field, show_unit
from sites.models import Client, Firm, Site, Tariff, TariffBlock, WeatherStation

COORDINATE_ERRORS = {
    "latitude": dict.fromkeys(
        ("min_value", "max_value"),
        "Latitude lies between -90 and 90 degrees. Are latitude and longitude the wrong way round?",
    ),
    "longitude": dict.fromkeys(("min_value", "max_value"), "Longitude lies between -180 and 180 degrees."),
}


@functools.cache
def time_zone_choices() -> list[tuple[str, str]]:
    return [(name, name) for name in sorted(zoneinfo.available_timezones()) if "/" in name or name == "UTC"]


class LongSelect(forms.Select):
    """A list of hundreds, drawn by one flat template: Django's own includes one template a line."""

    template_name = "sites/long_select.html"


class TimeZoneField(forms.ChoiceField):
    widget = LongSelect

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(choices=time_zone_choices, **kwargs)


class ClientForm(RegisterForm):
    class Meta:
        model = Client
        fields = [
            "name",
            "contact_name",
            "email",
            "phone",
            "billing_address",
            "wants_season_report_by_email",
            "report_as",
            "language",
            "wants_reminders",
            "office_notes",
        ]


class SiteForm(RegisterForm):
    quantities = {"elevation_m": "length", "special_landscape_m2": "area"}
    time_zone = TimeZoneField()
    open_weekdays = WeekdaysField(
        label="Open on", error_messages={"required": "Tick at least one day on which a technician may enter."}
    )
    permitted_weekdays = WeekdaysField(
        label="Permitted weekdays",
        required=False,
        help_text="Counts where watering is permitted on named weekdays.",
    )

    class Meta:
        model = Site
        fields = [
            "client",
            "name",
            "address",
            "postcode",
            "town",
            "latitude",
            "longitude",
            "elevation_m",
            "time_zone",
            "opens_at",
            "closes_at",
            "open_weekdays",
            "access_notes",
            "office_notes",
            "weather_station",
            "permitted_days",
            "permitted_weekdays",
            "watering_window_start",
            "watering_window_end",
            "tariff",
            "residential",
            "special_landscape_m2",
        ]
        error_messages = COORDINATE_ERRORS

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        of_this_site = Q(pk=self.instance.client_id) if self.instance.pk else Q()
        rows_field(self, "client").queryset = Client.objects.filter(Q(archived_at=None) | of_this_site)
        rows_field(self, "client").empty_label = "Choose a client"
        rows_field(self, "weather_station").queryset = WeatherStation.objects.all()

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        opens, closes = cleaned.get("opens_at"), cleaned.get("closes_at")
        if opens and closes and closes <= opens:
            self.add_error("closes_at", f"The closing time must be after the opening time, {opens:%H:%M}.")
        starts, ends = cleaned.get("watering_window_start"), cleaned.get("watering_window_end")
        if starts and starts == ends:
            self.add_error(
                "watering_window_end",
                "The window must not end when it starts. For the whole day write 00:00 to 23:59.",
            )
        named = cleaned.get("permitted_days") == Site.PermittedDays.WEEKDAYS
        if named and "permitted_weekdays" in cleaned and not cleaned["permitted_weekdays"]:
            self.add_error("permitted_weekdays", "Tick the weekdays on which watering is permitted.")
        return cleaned


class TariffForm(RegisterForm):
    class Meta:
        model = Tariff
        fields = ["name", "fixed_per_month"]


class BlocksFormSet(forms.BaseInlineFormSet):
    def clean(self) -> None:
        if any(self.errors):
            return
        kept = [form.cleaned_data for form in self.forms if form.cleaned_data and not form.cleaned_data.get("DELETE")]
        starts = [row["from_m3"] for row in kept]
        if len(set(starts)) != len(starts):
            raise forms.ValidationError("Two blocks start at the same amount.")
        if 0 not in starts:
            raise forms.ValidationError("One block must start at 0: the price of the first water used.")
        super().clean()


class TariffBlockForm(RegisterForm):
    """A US firm types gallons and a price per 1,000 gal; the database keeps m³."""

    quantities = {"from_m3": "volume"}

    class Meta:
        model = TariffBlock
        fields = ["from_m3", "price_per_m3"]
        labels = {"from_m3": "From", "price_per_m3": "Price"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        volume = priced_volume(Firm.current().units)
        self.m3_priced = Decimal(volume.size)
        show_unit(self.fields["price_per_m3"], f"per {volume.label}")
        stored = self.initial.get("price_per_m3")
        if volume.size != 1 and stored is not None:
            # Stored to 4 places a m³, so 3 places are certain per 1,000 gal.
            self.initial["price_per_m3"] = round(stored * self.m3_priced, 3)

    def clean_price_per_m3(self) -> Decimal:
        if self.instance.pk and "price_per_m3" not in self.changed_data:
            return self.instance.price_per_m3
        return round(self.cleaned_data["price_per_m3"] / self.m3_priced, 4)


TariffBlockFormSet = forms.inlineformset_factory(
    Tariff, TariffBlock, form=TariffBlockForm, formset=BlocksFormSet, extra=2, can_delete=True, can_delete_extra=False
)
