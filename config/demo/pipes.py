"""Pipes, heads and pump curves for some of the demo's sites: elsewhere nobody ever wrote them down.

Own dice, so that the other figures of the demo stay as they are. Plausible for such places, no source.
"""

import math
import random
from collections.abc import Iterable

from config.demo.sketches import NAMED, Kind, SiteSketch
from sites.core.zone_water import LEAST_KPA
from sites.models import Pump, Valve, WaterSupply, Zone

WITH_PIPES = ("Rook Meadow sports ground", "Otter Pond allotments", "Swallow Terrace", "Aldermoor garden",
              "Lantern Hill park", "Dovecote garden")  # fmt: skip
ONE_IN = 4  # of the sites without a name
PIPES_MM = (20.4, 26.2, 32.6, 40.8, 51.4, 61.4, 73.6, 90.0)
BRISK_M_S, FAR_TOO_FAST_M_S = 1.4, 3.2
LENGTHS_M = {Kind.HOME: (12, 45), Kind.ASSOCIATION: (25, 110), Kind.SCHOOL: (40, 140)}
LENGTHS_LARGE_M = (50, 220)


def has_pipes(sketch: SiteSketch) -> bool:
    return sketch.name in WITH_PIPES or (sketch.index >= len(NAMED) and sketch.index % ONE_IN == 0)


def record_pipes(
    sketch: SiteSketch,
    supplies: Iterable[WaterSupply],
    pumps: Iterable[Pump],
    valves: Iterable[Valve],
    zones: Iterable[Zone],
) -> None:
    """Fill what the hydraulics ask for, where this site has it."""
    if not has_pipes(sketch):
        return
    rng = random.Random(f"{sketch.index} pipes")
    for supply in supplies:
        if supply.kind != WaterSupply.Kind.PUMP and supply.static_pressure_kpa:
            supply.working_pressure_kpa = float(5 * round(supply.static_pressure_kpa * rng.uniform(0.84, 0.92) / 5))
    for pump in pumps:
        _record_curve(pump, rng)
    for valve in valves:
        valve.pressure_loss_kpa = float(rng.randint(18, 32))
    rise_m = float(rng.choice((0, 1, 2, 3)))
    for zone in zones:
        shortest, longest = LENGTHS_M.get(sketch.kind, LENGTHS_LARGE_M)
        zone.pipe_length_m = float(rng.randint(shortest, longest))
        zone.pipe_material = "pe"
        zone.pipe_inside_mm = _pipe_mm(zone.flow_l_min)
        zone.head_rise_m = rise_m + rng.choice((0.0, 0.0, 0.5, 1.0))
        zone.head_pressure_kpa = LEAST_KPA[zone.emitter]


def _record_curve(pump: Pump, rng: random.Random) -> None:
    """A curve that leaves four fifths of its head at the supply's flow."""
    assert pump.supply.static_pressure_kpa and pump.supply.flow_available_l_min
    shutoff_m, flow_l_min = pump.supply.static_pressure_kpa / 9.807, pump.supply.flow_available_l_min
    pump.shutoff_head_m = round(shutoff_m, 1)
    pump.curve_flow_1_l_min, pump.curve_head_1_m = float(round(0.6 * flow_l_min)), round(0.93 * shutoff_m, 1)
    pump.curve_flow_2_l_min, pump.curve_head_2_m = float(round(flow_l_min)), round(0.80 * shutoff_m, 1)
    pump.efficiency_percent = float(rng.randint(44, 58))
    pump.energy_price_per_kwh = rng.choice(("0.1320", "0.1480", "0.1610"))


def _pipe_mm(flow_l_min: float | None) -> float | None:
    """The narrowest pipe in which the water stays below a brisk velocity."""
    if flow_l_min is None:
        return None
    return next((size for size in PIPES_MM if size >= _inside_mm(flow_l_min, BRISK_M_S)), PIPES_MM[-1])


def _inside_mm(flow_l_min: float, velocity_m_s: float) -> float:
    return 1000 * math.sqrt(4 * flow_l_min / 60000 / (math.pi * velocity_m_s))


def plant_narrow_pipe(zone: Zone) -> None:
    zone.pipe_inside_mm = round(_inside_mm(zone.flow_l_min or 20.0, FAR_TOO_FAST_M_S), 1)
