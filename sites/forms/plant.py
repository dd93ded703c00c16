"""What stands on a site. Each form knows its parent row through `instance`, set by the view.

`next_after(row)` and `first_on(parent)` suggest what a person would type next: a site is entered valve by valve,
zone by zone, and most of it repeats.
"""

from collections.abc import Iterable
from typing import Any, ClassVar

from django import forms
from django.db.models import Max, QuerySet

from sites.core.units import format_quantity
from sites.forms.base import RegisterForm, rows_field
from sites.models import BackflowAssembly, Controller, Firm, Pump, Valve, WaterSupply, Zone

# Field wire for 24 V valves lies well inside this; outside, a gauge was most likely typed as mm² or the reverse.
# Common practice, no source.
WIRE_SECTION_LIMITS_MM2 = (0.1, 35.0)
# Above the rating of common irrigation pipe and valves: a slip of the unit or a digit. Common practice, no source.
HIGHEST_PRESSURE_KPA = 2500.0
LONGEST_PIPE_M, WIDEST_PIPE_MM = 50_000.0, 2000.0  # far beyond any site: a slip of the unit. No source.
HOUR_S, DAY_S = 3600.0, 86400.0  # the limits of `scheduling.core.sequence.plant`
PRESSURE_TOO_HIGH = "Higher than any irrigation system has: look at the unit and the digits."


class WaterSupplyForm(RegisterForm):
    parent = "site"
    quantities = {
        "static_pressure_kpa": "pressure",
        "flow_available_l_min": "flow",
        "working_pressure_kpa": "pressure",
    }

    class Meta:
        model = WaterSupply
        fields = [
            "name",
            "kind",
            "static_pressure_kpa",
            "flow_available_l_min",
            "working_pressure_kpa",
            "shutoff_location",
        ]

    def clean_static_pressure_kpa(self) -> float | None:
        pressure_kpa = self.cleaned_data["static_pressure_kpa"]
        if pressure_kpa is not None and pressure_kpa > HIGHEST_PRESSURE_KPA:
            raise forms.ValidationError(PRESSURE_TOO_HIGH)
        return pressure_kpa


class PumpForm(RegisterForm):
    parent = "supply"
    most = {"prime_delay_s": HOUR_S, "run_down_s": HOUR_S, "minimum_run_s": DAY_S, "minimum_rest_s": DAY_S}
    quantities = {
        "rated_power_kw": "power",
        "shutoff_head_m": "length",
        "curve_flow_1_l_min": "flow",
        "curve_head_1_m": "length",
        "curve_flow_2_l_min": "flow",
        "curve_head_2_m": "length",
    }

    class Meta:
        model = Pump
        fields = [
            "name",
            "prime_delay_s",
            "run_down_s",
            "minimum_run_s",
            "minimum_rest_s",
            "most_starts_per_hour",
            "rated_power_kw",
            "shutoff_head_m",
            "curve_flow_1_l_min",
            "curve_head_1_m",
            "curve_flow_2_l_min",
            "curve_head_2_m",
            "efficiency_percent",
            "energy_price_per_kwh",
        ]
        help_texts = {"rated_power_kw": ""}


class SuppliedForm(RegisterForm):
    """A row of a site that may name one of the site's supplies."""

    parent = "site"

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(
            rows_field(self, "supply"),
            WaterSupply.objects.filter(site=self.instance.site_id),
            "supply",
        )


class BackflowAssemblyForm(SuppliedForm):
    quantities = {"size_mm": "diameter"}

    class Meta:
        model = BackflowAssembly
        fields = ["kind", "supply", "size_mm", "serial_number", "location", "last_tested_on", "test_due_on"]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        tested, due = cleaned.get("last_tested_on"), cleaned.get("test_due_on")
        if tested and due and due <= tested:
            self.add_error("test_due_on", "The next test must lie after the last one.")
        return cleaned


class ControllerForm(SuppliedForm):
    most = {"command_delay_bound_s": HOUR_S}

    class Meta:
        model = Controller
        fields = [
            "name",
            "location",
            "supply",
            "terminals",
            "output",
            "transformer_va",
            "output_v",
            "pump_relay_va",
            "one_valve_at_a_time",
            "most_valves_open",
            "colliding_programs",
            "command_delay_bound_s",
            "ends_outputs_itself",
            "set_by_hand",
            "has_seasonal_percentage",
        ]

    def clean_terminals(self) -> int:
        terminals = self.cleaned_data["terminals"]
        if self.instance.pk:
            highest = self.instance.valves.aggregate(highest=Max("terminal"))["highest"] or 0
            if highest > terminals:
                raise forms.ValidationError(f"A valve sits on terminal {highest}. Move it first.")
        return terminals


class ValveForm(RegisterForm):
    parent = "controller"
    most = {"opens_within_s": HOUR_S, "closes_from_s": HOUR_S, "closes_within_s": HOUR_S}
    quantities = {
        "size_mm": "diameter",
        "wire_length_m": "length",
        "wire_section_mm2": "wire_section",
        "pressure_loss_kpa": "pressure",
    }
    repeated: ClassVar[tuple[str, ...]] = (
        "size_mm",
        "pressure_loss_kpa",
        "coil_resistance_ohm",
        "coil_holding_va",
        "coil_inrush_va",
        "wire_section_mm2",
        "opens_within_s",
        "closes_from_s",
        "closes_within_s",
        "installed_on",
    )

    class Meta:
        model = Valve
        fields = [
            "terminal",
            "name",
            "is_master",
            "location",
            "size_mm",
            "pressure_loss_kpa",
            "coil_resistance_ohm",
            "coil_holding_va",
            "coil_inrush_va",
            "wire_length_m",
            "wire_section_mm2",
            "opens_within_s",
            "closes_from_s",
            "closes_within_s",
            "installed_on",
        ]
        labels = {"opens_within_s": "Opens within", "closes_within_s": "Closes within"}
        help_texts = {"opens_within_s": "Seconds.", "closes_within_s": "Seconds.", "wire_section_mm2": ""}

    def clean_terminal(self) -> int | None:
        terminal, controller = self.cleaned_data["terminal"], self.instance.controller
        if terminal and terminal > controller.terminals:
            raise forms.ValidationError(f"{controller} has terminals 1 to {controller.terminals}.")
        return terminal

    def clean_wire_section_mm2(self) -> float | None:
        section = self.cleaned_data["wire_section_mm2"]
        low, high = WIRE_SECTION_LIMITS_MM2
        if section is not None and "wire_section_mm2" in self.changed_data and not low <= section <= high:
            ends = [format_quantity(limit, "wire_section", Firm.current().units, decimals=1) for limit in (low, high)]
            raise forms.ValidationError(
                f"Valve wire lies between {ends[0]} and {ends[1]}. Gauge and square millimetres mixed up?"
            )
        return section

    @classmethod
    def first_on(cls, controller: Controller) -> dict[str, Any]:
        used = set(controller.valves.values_list("terminal", flat=True))
        terminal = next((number for number in range(1, controller.terminals + 1) if number not in used), None)
        return {"terminal": terminal, "name": f"Valve {terminal}" if terminal else ""}

    @classmethod
    def next_after(cls, valve: Valve) -> dict[str, Any]:
        used = set(valve.controller.valves.values_list("terminal", flat=True))
        higher = range((valve.terminal or 0) + 1, valve.controller.terminals + 1)
        terminal = next((number for number in higher if number not in used), None)
        suggested = (
            {"terminal": terminal, "name": f"Valve {terminal}"} if terminal else cls.first_on(valve.controller)
        )
        return repeat(valve, cls.repeated) | suggested


class ZoneForm(RegisterForm):
    parent = "site"
    most = {
        "pipe_length_m": LONGEST_PIPE_M,
        "pipe_inside_mm": WIDEST_PIPE_MM,
        "head_pressure_kpa": HIGHEST_PRESSURE_KPA,
    }
    quantities = {
        "area_m2": "area",
        "application_rate_mm_h": "rate",
        "flow_l_min": "flow",
        "pipe_length_m": "length",
        "pipe_inside_mm": "diameter",
        "head_rise_m": "length",
        "head_pressure_kpa": "pressure",
        "root_depth_m": "length",
    }
    repeated: ClassVar[tuple[str, ...]] = (
        "planting",
        "soil",
        "slope_percent",
        "exposure",
        "emitter",
        "application_rate_mm_h",
        "distribution_uniformity",
        "figures_origin",
        "measured_on",
        "pipe_inside_mm",
        "pipe_material",
        "head_rise_m",
        "head_pressure_kpa",
        "root_depth_m",
    )

    class Meta:
        model = Zone
        fields = [
            "number",
            "name",
            "valve",
            "area_m2",
            "planting",
            "soil",
            "slope_percent",
            "exposure",
            "emitter",
            "application_rate_mm_h",
            "distribution_uniformity",
            "flow_l_min",
            "figures_origin",
            "measured_on",
            "flow_origin",
            "pipe_length_m",
            "pipe_inside_mm",
            "pipe_material",
            "head_rise_m",
            "head_pressure_kpa",
            "root_depth_m",
            "planted_on",
            "in_use",
        ]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        valves = Valve.objects.filter(controller__site=self.instance.site_id, is_master=False)
        offer(rows_field(self, "valve"), valves.select_related("controller"), "valve")
        rows_field(self, "valve").label_from_instance = valve_label

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        figures = [cleaned.get(name) for name in ("application_rate_mm_h", "distribution_uniformity")]
        if any(value is not None for value in figures) and cleaned.get("figures_origin") == Zone.Origin.UNKNOWN:
            self.add_error("figures_origin", "Say where rate and uniformity are from: otherwise they are not used.")
        return cleaned

    def clean_number(self) -> int:
        number = self.cleaned_data["number"]
        others = Zone.objects.filter(site=self.instance.site_id, number=number).exclude(pk=self.instance.pk)
        if others.exists():
            raise forms.ValidationError(f"This site already has a zone {number}: {others.first().name}.")
        return number

    @classmethod
    def first_on(cls, site: Any) -> dict[str, Any]:
        highest = site.zones.aggregate(highest=Max("number"))["highest"] or 0
        valve = next(iter(valves_without_zone(site)), None)
        return {"number": highest + 1, "valve": valve and valve.pk}

    @classmethod
    def next_after(cls, zone: Zone) -> dict[str, Any]:
        used = set(zone.site.zones.values_list("number", flat=True))
        number = next(number for number in range(zone.number + 1, zone.number + len(used) + 2) if number not in used)
        return repeat(zone, cls.repeated) | cls.first_on(zone.site) | {"number": number}


def valve_label(valve: Valve) -> str:
    """Terminal, name and controller: "3 · Front lawn (Controller)"."""
    return f"{valve.terminal or 'no terminal'} · {valve.name} ({valve.controller.name})"


def valves_without_zone(site: Any) -> QuerySet[Valve]:
    return Valve.objects.filter(controller__site=site, is_master=False, zones=None)


def offer(field: forms.ModelChoiceField, rows: QuerySet, word: str) -> None:
    """Offer and accept only these rows."""
    field.queryset = rows
    field.empty_label = f"no {word}"
    field.error_messages["invalid_choice"] = f"This is not a {word} of this site."


def repeat(row: Any, names: Iterable[str]) -> dict[str, Any]:
    return {name: getattr(row, name) for name in names}
