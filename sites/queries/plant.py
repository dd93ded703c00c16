"""The plant of sites from their register: five queries, whether for one site or for many."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import TypeVar

from django.db.models import Model

from sites.core import plant
from sites.models import BackflowAssembly, Controller, Site, Valve, WaterSupply, Zone

Part = TypeVar("Part", bound=plant.Described)


@dataclass
class PlantRows:
    """What stands on one site, as rows; `supplies` with their pumps."""

    supplies: list[WaterSupply] = field(default_factory=list)
    backflows: list[BackflowAssembly] = field(default_factory=list)
    controllers: list[Controller] = field(default_factory=list)
    valves: list[Valve] = field(default_factory=list)
    zones: list[Zone] = field(default_factory=list)


def site_plant(site: Site) -> plant.SitePlant:
    return site_plants([site])[site.pk]


def site_plants(sites: Collection[Site]) -> dict[int, plant.SitePlant]:
    """Every site's plant by its key."""
    rows: dict[int, PlantRows] = defaultdict(PlantRows)
    for supply in WaterSupply.objects.filter(site__in=sites).select_related("pump"):
        rows[supply.site_id].supplies.append(supply)
    for backflow in BackflowAssembly.objects.filter(site__in=sites):
        rows[backflow.site_id].backflows.append(backflow)
    for controller in Controller.objects.filter(site__in=sites):
        rows[controller.site_id].controllers.append(controller)
    for valve in Valve.objects.filter(controller__site__in=sites).select_related("controller"):
        rows[valve.controller.site_id].valves.append(valve)
    for zone in Zone.objects.filter(site__in=sites):
        rows[zone.site_id].zones.append(zone)
    return {site.pk: described(site, rows[site.pk]) for site in sites}


def described(site: Site, rows: PlantRows) -> plant.SitePlant:
    """The plant of rows already read; asks the database nothing."""
    reader = _Reader()
    supplies = []
    for row in rows.supplies:
        pump = reader.read(plant.Pump, row.pump, of=row) if hasattr(row, "pump") else None
        supplies.append(replace(reader.read(plant.Supply, row), pump=pump))
    valves = reader.read_all(plant.Valve, rows.valves)
    return plant.SitePlant(
        name=site.name,
        latitude=site.latitude,
        supplies=tuple(supplies),
        backflows=reader.read_all(plant.Backflow, rows.backflows),
        controllers=reader.read_all(plant.Controller, rows.controllers),
        valves=tuple(sorted(valves, key=lambda valve: (valve.terminal is None, valve.terminal or 0, valve.id))),
        zones=reader.read_all(plant.Zone, rows.zones),
        refused=tuple(reader.refused),
    )


class _Reader:
    """Reads rows and keeps what was refused."""

    def __init__(self) -> None:
        self.refused: list[plant.Refused] = []

    def read_all(self, kind: type[Part], rows: Iterable[Model]) -> tuple[Part, ...]:
        return tuple(self.read(kind, row) for row in rows)

    def read(self, kind: type[Part], row: Model, of: Model | None = None) -> Part:
        """of: the row that a finding about this one names, where it is not itself."""
        values = {name: float(value) if isinstance(value, Decimal) else value for name, value in vars(row).items()}
        part, wrong = kind.read(values)
        subject = "supply" if kind in (plant.Supply, plant.Pump) else kind.__name__.lower()
        at = (subject, (of or row).pk, str(part))
        self.refused += [plant.Refused(*at, kind.table[name], values[name], words) for name, words in wrong.items()]
        return part
