"""Sites, clients and tariffs."""

import functools
import zoneinfo
from decimal import Decimal
from typing import Any

from django import forms
from django.db.models import Q

from sites.core.rulebook import CLIENT, SITE, TARIFF, TARIFF_BLOCK
from sites.core.units import priced_volume
from sites.forms.base import RegisterForm, rows_field
from sites.forms.quantities import show_unit
from sites.models import Client, Firm, Site, Tariff, TariffBlock, WeatherStation
from sites.models.people import NOT_A_TIME_ZONE


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
        self.error_messages["invalid_choice"] = NOT_A_TIME_ZONE


class ClientForm(RegisterForm):
    class Meta:
        model = Client
        fields = CLIENT.names


class SiteForm(RegisterForm):
    time_zone = TimeZoneField()

    class Meta:
        model = Site
        fields = SITE.names

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        of_this_site = Q(pk=self.instance.client_id) if self.instance.pk else Q()
        rows_field(self, "client").queryset = Client.objects.filter(Q(archived_at=None) | of_this_site)
        rows_field(self, "client").empty_label = "Choose a client"
        rows_field(self, "weather_station").queryset = WeatherStation.objects.all()


class TariffForm(RegisterForm):
    class Meta:
        model = Tariff
        fields = TARIFF.names


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

    class Meta:
        model = TariffBlock
        fields = TARIFF_BLOCK.names

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
