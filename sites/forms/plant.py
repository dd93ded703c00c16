"""What stands on a site. Each form knows its parent row through `instance`, set by the view.

`next_after(row)` and `first_on(parent)` suggest what a person would type next: a site is entered valve by valve,
zone by zone, and most of it repeats.
"""

from typing import Any, ClassVar

from django import forms
from django.db.models import Max, QuerySet

from sites.core.rulebook import BACKFLOW, CONTROLLER, PUMP, SUPPLY, VALVE, ZONE
from sites.forms.base import RegisterForm, rows_field
from sites.models import BackflowAssembly, Controller, Pump, Valve, WaterSupply, Zone


class WaterSupplyForm(RegisterForm):
    class Meta:
        model = WaterSupply
        fields = SUPPLY.names


class PumpForm(RegisterForm):
    class Meta:
        model = Pump
        fields = PUMP.names


class SuppliedForm(RegisterForm):
    """A row of a site that may name one of the site's supplies."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(
            rows_field(self, "supply"),
            WaterSupply.objects.filter(site=self.instance.site_id),
            "supply",
        )


class BackflowAssemblyForm(SuppliedForm):
    class Meta:
        model = BackflowAssembly
        fields = BACKFLOW.names


class ControllerForm(SuppliedForm):
    class Meta:
        model = Controller
        fields = CONTROLLER.names


class ValveForm(RegisterForm):
    class Meta:
        model = Valve
        fields = VALVE.names

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
        return repeat(valve) | suggested


class ValveChoice(forms.ModelChoiceField):
    def label_from_instance(self, obj: Valve) -> str:
        return valve_label(obj)


class ZoneForm(RegisterForm):
    class Meta:
        model = Zone
        fields = ZONE.names
        field_classes: ClassVar[dict[str, type[forms.Field]]] = {"valve": ValveChoice}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        valves = Valve.objects.filter(controller__site=self.instance.site_id, is_master=False)
        offer(rows_field(self, "valve"), valves.select_related("controller"), "valve")

    @classmethod
    def first_on(cls, site: Any) -> dict[str, Any]:
        highest = site.zones.aggregate(highest=Max("number"))["highest"] or 0
        valve = next(iter(valves_without_zone(site)), None)
        return {"number": highest + 1, "valve": valve and valve.pk}

    @classmethod
    def next_after(cls, zone: Zone) -> dict[str, Any]:
        used = set(zone.site.zones.values_list("number", flat=True))
        number = next(number for number in range(zone.number + 1, zone.number + len(used) + 2) if number not in used)
        return repeat(zone) | cls.first_on(zone.site) | {"number": number}


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


def repeat(row: Valve | Zone) -> dict[str, Any]:
    return {field.name: getattr(row, field.name) for field in row.rules if field.repeats}
