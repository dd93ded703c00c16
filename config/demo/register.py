"""Writes the register: clients, tariffs and sites with their plant, a batch of sites at a time."""

import datetime as dt
import random
from collections.abc import Callable, Iterator
from decimal import Decimal

from django.db.models import Model

from config.demo import names
from config.demo.dice import dice
from config.demo.places import TIME_ZONE, place_of
from config.demo.plant import SitePlant, build_plant
from config.demo.sketches import Kind, Mistake, SiteSketch, sketch
from sites.models import (
    BackflowAssembly,
    Client,
    Controller,
    Meter,
    Pump,
    Site,
    Tariff,
    TariffBlock,
    Valve,
    WaterSupply,
    WeatherStation,
    Zone,
)

BATCH = 100  # sites held in memory at a time
Progress = Callable[[str, int, int], None]

# name, fixed charge a month, (from m3, price per m3): invented prices.
TARIFFS = (
    ("Mossiter water, house and garden", "12.40", ((0, "1.92"), (15, "2.48"), (45, "3.86"))),
    ("Lakeside utility, housing and schools", "48.00", ((0, "1.74"), (120, "2.20"), (400, "2.95"))),
    ("Public grounds, one price", "95.00", ((0, "1.55"),)),
)
HOURS = {
    Kind.HOME: (("07:00", "18:00"), ("08:00", "17:00"), ("09:00", "16:30")),
    Kind.ASSOCIATION: (("07:00", "17:00"), ("08:00", "16:00")),
    Kind.SCHOOL: (("07:00", "16:30"),),
    Kind.SPORTS: (("07:00", "15:00"),),
    Kind.PARK: (("06:00", "20:00"),),
}
ACCESS = (
    "",
    "",
    "Ring first; the dog is friendly.",
    "Gate code hangs in the key box, number at the office.",
    "Side gate is open during the day.",
    "Ask the caretaker for the pump house key.",
    "Please no work before 9 on Saturdays.",
)


def make_tariffs() -> list[Tariff]:
    tariffs = Tariff.objects.bulk_create(
        Tariff(name=name, fixed_per_month=Decimal(fixed)) for name, fixed, _ in TARIFFS
    )
    TariffBlock.objects.bulk_create(
        TariffBlock(tariff=tariff, from_m3=from_m3, price_per_m3=Decimal(price))
        for tariff, (_, _, blocks) in zip(tariffs, TARIFFS, strict=True)
        for from_m3, price in blocks
    )
    return tariffs


def make_register(
    *, sites: int, seed: int, today: dt.date, station: WeatherStation, tariffs: list[Tariff], progress: Progress
) -> None:
    managers = Client.objects.bulk_create(
        Client(
            name=name,
            contact_name=f"{names.GIVEN[n]} {names.FAMILY[n + 5]}",
            email=f"manager{n + 1}@housing.example",
            phone=f"+1 206 555 015{n}",
            billing_address=f"{n + 2} Saddler Street\n00420 Mossiter",
        )
        for n, name in enumerate(names.MANAGERS)
    )
    for start in range(0, sites, BATCH):
        sketches = [sketch(seed, index) for index in range(start, min(start + BATCH, sites))]
        _save([_site(one, seed, today, station, tariffs, managers) for one in sketches])
        progress("register", start + len(sketches), sites)


def _site(
    one: SiteSketch,
    seed: int,
    today: dt.date,
    station: WeatherStation,
    tariffs: list[Tariff],
    managers: list[Client],
) -> SitePlant:
    rng = dice(seed, "site", one.index)
    place = place_of(one.index, rng)
    opens, closes = rng.choice(HOURS[one.kind])
    client = managers[one.manager] if one.manager is not None else _own_client(one, place.town, rng)
    site = Site(
        client=client,
        name=one.name,
        address=place.address,
        town=place.town,
        postcode=place.postcode,
        latitude=place.latitude,
        longitude=place.longitude,
        elevation_m=place.elevation_m,
        time_zone=TIME_ZONE,
        opens_at=dt.time.fromisoformat(opens),
        closes_at=dt.time.fromisoformat(closes),
        open_weekdays=[0, 1, 2, 3, 4] if one.kind == Kind.SCHOOL else _open_weekdays(rng),
        access_notes=rng.choice(ACCESS),
        office_notes="Pays late, but pays." if rng.random() < 0.05 else "",
        weather_station=station,
        tariff=_tariff(one, tariffs),
        **_watering_rules(one, rng),
    )
    if not client.billing_address:
        client.billing_address = f"{place.address}\n{place.postcode} {place.town}"
    return build_plant(site, one, dice(seed, "plant", one.index), today)


def _open_weekdays(rng: random.Random) -> list[int]:
    return rng.choice(([0, 1, 2, 3, 4, 5, 6], [0, 1, 2, 3, 4, 5, 6], [0, 1, 2, 3, 4, 5]))


def _own_client(one: SiteSketch, town: str, rng: random.Random) -> Client:
    contact = f"{rng.choice(names.GIVEN)} {rng.choice(names.FAMILY)}"
    if one.kind == Kind.HOME:
        family = one.name.removesuffix(" garden").split()[-1]
        name = contact = f"{rng.choice(names.GIVEN)} {family}"
    elif one.kind == Kind.ASSOCIATION:
        name = f"Owners of {one.name}"
    else:
        name = f"Town of {town}, {one.name}"
    return Client(
        name=name,
        contact_name=contact,
        email=f"client{one.index}@garden.example",
        phone=f"+1 206 555 01{rng.randrange(20, 99)}",
        wants_season_report_by_email=rng.random() < 0.85,
    )


def _tariff(one: SiteSketch, tariffs: list[Tariff]) -> Tariff | None:
    if one.supply != "mains":
        return None  # own water has no price per m3
    return tariffs[{Kind.HOME: 0, Kind.ASSOCIATION: 1, Kind.SCHOOL: 1}.get(one.kind, 2)]


def _watering_rules(one: SiteSketch, rng: random.Random) -> dict:
    """Permitted days and window: large grounds need long nights, homes often have named days."""
    large = one.zones >= 9 or one.mistake == Mistake.COLLIDING_PROGRAMS
    rules, weights = ("any", "weekdays", "odd", "even"), (100, 0, 0, 0) if large else (50, 24, 13, 13)
    days = rng.choices(rules, weights)[0]
    named = list(range(7))
    if days == "weekdays":
        named = rng.choice(([0, 2, 4, 6], [1, 3, 5, 6]) if one.zones > 3 else ([0, 2, 4], [1, 3, 5]))
    if one.supply == "mains":
        starts, ends = rng.choice((("22:00", "08:00"), ("21:00", "07:00"), ("20:00", "09:00")))
    else:
        starts, ends = rng.choice((("19:00", "09:00"), ("18:00", "08:00")))
    if one.zones >= 14 or (days == "weekdays" and one.zones > 4):
        starts, ends = "18:00", "09:00"
    return {
        "permitted_days": days,
        "permitted_weekdays": named,
        "watering_window_start": dt.time.fromisoformat(starts),
        "watering_window_end": dt.time.fromisoformat(ends),
    }


def _save(plants: list[SitePlant]) -> None:
    """Parents before children; `bulk_create` copies each parent's new key into its children."""
    new_clients = {id(plant.site.client): plant.site.client for plant in plants if plant.site.client.pk is None}
    Client.objects.bulk_create(new_clients.values())
    Site.objects.bulk_create(plant.site for plant in plants)
    batches: tuple[tuple[type[Model], Iterator[Model]], ...] = (
        (WaterSupply, (row for plant in plants for row in plant.supplies)),
        (Pump, (row for plant in plants for row in plant.pumps)),
        (BackflowAssembly, (row for plant in plants for row in plant.backflows)),
        (Controller, (row for plant in plants for row in plant.controllers)),
        (Valve, (row for plant in plants for row in plant.valves)),
        (Zone, (row for plant in plants for row in plant.zones)),
        (Meter, (row for plant in plants for row in plant.meters)),
    )
    for model, rows in batches:
        model._default_manager.bulk_create(rows, batch_size=500)


def sites_in_order(sites: int) -> Iterator[Site]:
    """The demo's sites in the order of their sketches."""
    return Site.objects.order_by("pk")[:sites].iterator()
