"""The register: people, clients, sites and the plant that stands on them."""

from sites.models.audit import AuditEntry
from sites.models.people import Client, Firm, Role, User
from sites.models.places import Photo, Site, Tariff, TariffBlock, WeatherStation
from sites.models.plant import (
    BackflowAssembly,
    Controller,
    Pump,
    Valve,
    WaterSupply,
    Zone,
)
from sites.models.site_state import StateChange
from sites.models.water_meters import Meter, MeterReading

__all__ = [
    "AuditEntry",
    "BackflowAssembly",
    "Client",
    "Controller",
    "Firm",
    "Meter",
    "MeterReading",
    "Photo",
    "Pump",
    "Role",
    "Site",
    "StateChange",
    "Tariff",
    "TariffBlock",
    "User",
    "Valve",
    "WaterSupply",
    "WeatherStation",
    "Zone",
]
