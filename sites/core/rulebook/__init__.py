"""The rulebook: every field of the register with its words, unit, limits and choices, and rules between fields."""

from sites.core.rulebook.fields import ABOVE_0, Field, Kind, Rule, Table, Values, Words
from sites.core.rulebook.places import CLIENT, METER, READING, SITE, STATION, TARIFF, TARIFF_BLOCK
from sites.core.rulebook.plant import BACKFLOW, CONTROLLER, PUMP, SUPPLY, VALVE, ZONE

TABLES = {
    "client": CLIENT,
    "site": SITE,
    "supply": SUPPLY,
    "pump": PUMP,
    "backflow": BACKFLOW,
    "controller": CONTROLLER,
    "valve": VALVE,
    "zone": ZONE,
    "meter": METER,
    "reading": READING,
    "station": STATION,
    "tariff": TARIFF,
    "tariff block": TARIFF_BLOCK,
}

__all__ = [
    "ABOVE_0",
    "BACKFLOW",
    "CLIENT",
    "CONTROLLER",
    "METER",
    "PUMP",
    "READING",
    "SITE",
    "STATION",
    "SUPPLY",
    "TABLES",
    "TARIFF",
    "TARIFF_BLOCK",
    "VALVE",
    "ZONE",
    "Field",
    "Kind",
    "Rule",
    "Table",
    "Values",
    "Words",
]
