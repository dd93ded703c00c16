"""One zone: planting, ground, devices, and figures that agree with each other (flow = rate x area / 60)."""

import datetime as dt
import random
from dataclasses import dataclass

from config.demo.sketches import Kind, SiteSketch
from sites.models import Site, Valve, Zone


@dataclass(frozen=True)
class Device:
    """A generic emitter class: rate mm/h and DU, low and high; share of the supply's flow; most flow in L/min."""

    rate_mm_h: tuple[float, float]
    uniformity: tuple[float, float]
    flow_share: tuple[float, float]
    most_flow_l_min: float = 1e9


# The usual ranges of the emitter classes: common practice.
DEVICES = {
    "fixed_spray": Device((38, 50), (0.50, 0.68), (0.55, 0.92)),
    "rotating_nozzle": Device((11, 15), (0.62, 0.75), (0.45, 0.85)),
    "rotor": Device((11, 16), (0.58, 0.74), (0.55, 0.92)),
    "micro_spray": Device((14, 20), (0.60, 0.74), (0.20, 0.45), 28),
    "drip_grid": Device((12, 18), (0.80, 0.90), (0.12, 0.35), 22),
    "point_drip": Device((9, 15), (0.78, 0.90), (0.06, 0.18), 9),
    "bubbler": Device((28, 45), (0.78, 0.88), (0.10, 0.30), 16),
}
SPORTS_ROTOR = Device((19, 24), (0.62, 0.76), (0.65, 0.92))

TURF = ("fixed_spray", "fixed_spray", "rotating_nozzle", "rotor")
DEVICES_FOR = {
    "cool_turf": TURF,
    "warm_turf": TURF,
    "sports_turf": ("rotor",),
    "annuals": ("micro_spray", "fixed_spray"),
    "perennials": ("micro_spray", "drip_grid"),
    "shrubs": ("drip_grid", "micro_spray", "point_drip"),
    "trees": ("bubbler", "point_drip"),
    "drought_tolerant": ("point_drip", "drip_grid"),
    "vegetables": ("drip_grid",),
}
GROUNDS = {
    Kind.HOME: (
        ("Front lawn", "cool_turf"),
        ("Flower bed", "perennials"),
        ("Back lawn", "cool_turf"),
        ("Hedge", "shrubs"),
        ("Vegetable plot", "vegetables"),
        ("Young trees", "trees"),
        ("Dry bank", "drought_tolerant"),
        ("Summer flowers", "annuals"),
        ("Side lawn", "warm_turf"),
    ),
    Kind.ASSOCIATION: (
        ("Entrance lawn", "cool_turf"),
        ("Entrance beds", "annuals"),
        ("Courtyard lawn", "cool_turf"),
        ("Long hedge", "shrubs"),
        ("Play lawn", "cool_turf"),
        ("Street trees", "trees"),
        ("Ground cover", "perennials"),
        ("Dry bank", "drought_tolerant"),
    ),
    Kind.SCHOOL: (
        ("Play field", "sports_turf"),
        ("School garden", "vegetables"),
        ("Entrance lawn", "cool_turf"),
        ("Shade trees", "trees"),
        ("Border", "shrubs"),
    ),
    Kind.SPORTS: (
        ("Main pitch", "sports_turf"),
        ("Training pitch", "sports_turf"),
        ("Bank", "cool_turf"),
        ("Entrance beds", "perennials"),
        ("Trees", "trees"),
        ("Hedge", "shrubs"),
    ),
    Kind.PARK: (
        ("Meadow", "cool_turf"),
        ("Rose beds", "perennials"),
        ("Lime avenue", "trees"),
        ("Summer carpet", "annuals"),
        ("Dry garden", "drought_tolerant"),
        ("Shrub walk", "shrubs"),
    ),
}
SOILS = ("loam", "sandy_loam", "clay_loam", "silty_clay", "loamy_sand", "clay", "sand", "")
SOIL_WEIGHTS = (30, 28, 14, 6, 8, 4, 3, 7)


def zone_of(
    site: Site,
    valve: Valve,
    number: int,
    sketch: SiteSketch,
    supply_l_min: float,
    rng: random.Random,
    today: dt.date,
) -> Zone:
    grounds = GROUNDS[sketch.kind]
    name, planting = grounds[(number - 1) % len(grounds)]
    turn = (number - 1) // len(grounds)
    emitter = rng.choice(DEVICES_FOR[planting])
    device = SPORTS_ROTOR if planting == "sports_turf" else DEVICES[emitter]
    rate = round(rng.uniform(*device.rate_mm_h), 1)
    flow = min(supply_l_min * rng.uniform(*device.flow_share), device.most_flow_l_min)
    area = max(4, round(60 * flow / rate))
    measured = rng.random() < 0.22
    zone = Zone(
        site=site,
        valve=valve,
        number=number,
        name=name if turn == 0 else f"{name} {turn + 1}",
        area_m2=float(area),
        planting=planting,
        soil=rng.choices(SOILS, SOIL_WEIGHTS)[0],
        slope_percent=float(
            rng.choice((6, 10, 14, 20)) if "bank" in name.lower() else rng.choice((0, 0, 0, 1, 2, 4))
        ),
        exposure=rng.choices(("sun", "part_shade", "shade", "hot"), (55, 24, 9, 12))[0],
        emitter=emitter,
        application_rate_mm_h=rate,
        distribution_uniformity=round(rng.uniform(*device.uniformity), 2),
        flow_l_min=round(rate * area / 60, 1),
        figures_origin="measured" if measured else "design",
        measured_on=today - dt.timedelta(days=rng.randint(60, 900)) if measured else None,
        planted_on=today - dt.timedelta(days=rng.randint(20, 600)) if rng.random() < 0.04 else None,
    )
    _leave_gaps(zone, rng)
    return zone


def _leave_gaps(zone: Zone, rng: random.Random) -> None:
    """A register is never complete: some figures were not written down."""
    chance = rng.random()
    if chance < 0.015:  # nothing to compute with
        zone.area_m2 = zone.application_rate_mm_h = zone.flow_l_min = zone.distribution_uniformity = None
        zone.figures_origin = "unknown"
    elif chance < 0.045:  # run time can be computed, litres cannot
        zone.area_m2 = zone.flow_l_min = None
    elif chance < 0.09:  # the usual uniformity stands in
        zone.distribution_uniformity = None
        zone.figures_origin = "unknown"
