"""Pipes, heads, pumps: friction, pressure at the head, operating point, what can run together. SI units.

Sources by their names in `sites.core.sources`. Water at 5 to 25 degC. Pipe diameters are INSIDE diameters in mm:
nominal sizes mislead.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sites.core.figures import Possible, door

GRAVITY_KPA_PER_M = 9.807
WATER_KG_M3 = 998.0
C_PLASTIC = 150.0  # HAZEN_WILLIAMS, PVC; PE 140 to 150
FITTINGS_SHARE = 0.10  # of the pipe's own loss; common practice, no source
DESIGN_VELOCITY_M_S = 1.5  # 5 ft/s in mains, JARRETT_2000 pp. 336-337
WARN_VELOCITY_M_S = 2.1
SAFE_SUCTION_LIFT_M = 6.0  # above this unsafe at sea level; common practice, no source
PLASTIC_WAVE_M_S = 400.0  # 300 to 450; common practice, no source


@door
def friction_m(flow_l_min: float, length_m: float, inside_mm: float, c: float = C_PLASTIC) -> float:
    """Head lost in a full pipe by Hazen-Williams, metres of water. ValueError unless diameter and C are above 0."""
    if inside_mm <= 0 or c <= 0:
        raise ValueError("inside diameter and roughness coefficient must be above 0")
    return _friction_m(flow_l_min, length_m, inside_mm, c)


def _friction_m(flow_l_min: float, length_m: float, inside_mm: float, c: float) -> float:
    """Trusts its figures."""
    flow_m3_s = flow_l_min / 60000
    return float(10.67 * length_m * flow_m3_s**1.852 / (c**1.852 * (inside_mm / 1000) ** 4.8704))


def friction_kpa(flow_l_min: float, length_m: float, inside_mm: float, c: float = C_PLASTIC) -> float:
    return friction_m(flow_l_min, length_m, inside_mm, c) * GRAVITY_KPA_PER_M


@door
def velocity_m_s(flow_l_min: float, inside_mm: float) -> float:
    """Mean velocity in a full pipe."""
    return 4 * flow_l_min / 60000 / (math.pi * (inside_mm / 1000) ** 2)


@door
def lift_kpa(rise_m: float) -> float:
    """Pressure lost to height; negative where the head lies lower than the supply."""
    return GRAVITY_KPA_PER_M * rise_m


@door
def pressure_at_head_kpa(
    supply_dynamic_kpa: float, rise_m: float, pipe_kpa: float, other_losses_kpa: float = 0.0
) -> float:
    """Pressure left at the head. `supply_dynamic_kpa` is measured at the zone's flow, not static.

    other_losses_kpa: valve, meter, backflow assembly and fittings, from their own curves.
    """
    return supply_dynamic_kpa - lift_kpa(rise_m) - pipe_kpa - other_losses_kpa


@door
def nozzle_flow_l_min(known_flow_l_min: float, known_kpa: float, pressure_kpa: float, exponent: float = 0.5) -> float:
    """Flow of an emitter at another pressure, q = k p^x.

    x: 0.5 nozzle or turbulent emitter, 0 to 0.1 pressure-compensating, 1 laminar. A pressure-regulated head
    ignores this above its set point.
    """
    if known_kpa <= 0 or pressure_kpa < 0:
        raise ValueError("pressures must be above 0 kPa")
    return float(known_flow_l_min * (pressure_kpa / known_kpa) ** exponent)


@door
def orifice_flow_l_min(diameter_mm: float, pressure_kpa: float, discharge: float = 0.62) -> float:
    """Free flow from a round hole, q = Cd A sqrt(2 p / rho), water of 1000 kg/m3."""
    area_m2 = math.pi / 4 * (diameter_mm / 1000) ** 2
    return discharge * area_m2 * math.sqrt(2 * pressure_kpa * 1000 / 1000) * 60000


@door
def pipe_volume_l(length_m: float, inside_mm: float) -> float:
    return math.pi / 4 * (inside_mm / 1000) ** 2 * length_m * 1000


@door
def fill_time_min(length_m: float, inside_mm: float, velocity_m_s: float = 0.3) -> float:
    """Time to fill an empty pipe slowly; 0.3 m/s (1 ft/s) is common practice."""
    volume_l = pipe_volume_l(length_m, inside_mm)
    flow_l_min = math.pi / 4 * (inside_mm / 1000) ** 2 * velocity_m_s * 60000
    return volume_l / flow_l_min


@door
def surge_kpa(velocity_change_m_s: float, wave_m_s: float = PLASTIC_WAVE_M_S) -> float:
    """Joukowsky: pressure rise on sudden closure, rho a dv, water of 1000 kg/m3."""
    return 1000 * wave_m_s * velocity_change_m_s / 1000


@door
def leak_l_h(first_m3: float, second_m3: float, hours: float) -> float:
    """Loss between two meter readings with every valve shut and no other use."""
    if hours <= 0:
        raise ValueError("the second reading must be later than the first")
    return (second_m3 - first_m3) * 1000 / hours


@dataclass(frozen=True)
class PumpCurve(Possible):
    """Head h = shutoff_m - b q^c, q in m3/h."""

    shutoff_m: float
    b: float
    c: float
    last_m3_h: float = math.inf  # the last known point; beyond it the curve is guessed

    @classmethod
    def through(cls, points: Sequence[tuple[float, float]]) -> "PumpCurve":
        """The curve through (0, h0), (q1, h1), (q2, h2) with falling head; flows m3/h, heads m.

        ValueError if there are not three such points. Power function as in EPANET.
        """
        (q0, h0), (q1, h1), (q2, h2) = sorted(points)
        if q0 != 0 or not 0 < q1 < q2 or not h0 > h1 > h2 >= 0:
            raise ValueError("a pump curve needs its head at 0 and at two rising flows, heads falling")
        c = math.log((h0 - h2) / (h0 - h1)) / math.log(q2 / q1)
        return cls(h0, (h0 - h1) / q1**c, c, q2)

    def head_m(self, flow_m3_h: float) -> float:
        return float(self.shutoff_m - self.b * flow_m3_h**self.c)


@dataclass(frozen=True)
class System(Possible):
    """What the pump works against: height, one pipe, and nozzles known at one point (flow m3/h at kPa).

    other_kpa: what valve, filter and regulator lose at the nozzles' known flow; grows with its square.
    """

    static_m: float
    length_m: float
    inside_mm: float
    nozzle_m3_h: float
    nozzle_kpa: float
    c: float = C_PLASTIC
    other_kpa: float = 0.0

    def head_m(self, flow_m3_h: float) -> float:
        pipe_m = _friction_m(flow_m3_h * 1000 / 60, self.length_m, self.inside_mm, self.c)
        others_kpa = (self.nozzle_kpa + self.other_kpa) * (flow_m3_h / self.nozzle_m3_h) ** 2
        return self.static_m + pipe_m + others_kpa / GRAVITY_KPA_PER_M

    def nozzle_pressure_kpa(self, flow_m3_h: float) -> float:
        return self.nozzle_kpa * (flow_m3_h / self.nozzle_m3_h) ** 2


@dataclass(frozen=True)
class OperatingPoint:
    flow_m3_h: float
    head_m: float
    nozzle_kpa: float
    velocity_m_s: float

    @property
    def hydraulic_kw(self) -> float:
        return hydraulic_power_kw(self.flow_m3_h, self.head_m)


def operating_point(curve: PumpCurve, system: System) -> OperatingPoint | None:
    """Where pump and system curve cross, by bisection; None if the pump cannot even lift the water."""
    if curve.head_m(0) <= system.head_m(0):
        return None

    def pushes_on(flow_m3_h: float) -> bool:
        return curve.head_m(flow_m3_h) > max(0.0, system.head_m(flow_m3_h))

    low, high = 0.0, 1.0
    while pushes_on(high):  # a curve measured almost flat uses its head up at a flow beyond all numbers
        high *= 2
    for _ in range(100):
        middle = (low + high) / 2
        if pushes_on(middle):
            low = middle
        else:
            high = middle
    flow = (low + high) / 2
    return OperatingPoint(
        flow,
        curve.head_m(flow),
        system.nozzle_pressure_kpa(flow),
        velocity_m_s(flow * 1000 / 60, system.inside_mm),
    )


@door
def hydraulic_power_kw(flow_m3_h: float, head_m: float) -> float:
    """Power in the water, rho 998 kg/m3, g 9.80665 m/s2."""
    return WATER_KG_M3 * 9.80665 * flow_m3_h / 3600 * head_m / 1000


@door
def shaft_power_kw(flow_m3_h: float, head_m: float, efficiency: float) -> float:
    """Power at the pump shaft; efficiency above 0 and at most 1, else ValueError."""
    if not 0 < efficiency <= 1:
        raise ValueError("efficiency must be above 0 and at most 1")
    return hydraulic_power_kw(flow_m3_h, head_m) / efficiency


@door
def energy_kwh_per_m3(flow_m3_h: float, head_m: float, efficiency: float) -> float:
    """Energy to pump one cubic metre; times the price of a kWh is its cost."""
    return shaft_power_kw(flow_m3_h, head_m, efficiency) / flow_m3_h


@dataclass(frozen=True)
class ZoneFlow(Possible):
    """excess_va: what the coil takes above its holding load in its first moments."""

    zone_id: int
    flow_l_min: float | None
    valve_va: float = 0.0
    excess_va: float = 0.0


@dataclass(frozen=True)
class Groups:
    """groups of zone ids that may run together; too_large need more than the supply; unknown have no flow."""

    groups: tuple[tuple[int, ...], ...]
    too_large: tuple[int, ...]
    unknown: tuple[int, ...]


@door
def run_together(
    zones: Sequence[ZoneFlow],
    supply_l_min: float,
    most_open: int = 1,
    transformer_va: float | None = None,
) -> Groups:
    """Zones in groups whose flow the supply feeds and whose coils the transformer holds, one of them just starting;
    largest first.

    First fit by falling flow: at most 11/9 n + 6/9 groups where n are the fewest and only flow limits (DOSA_2007); no
    bound is known where the number of valves or the transformer limits too.
    """
    known = [zone for zone in zones if zone.flow_l_min is not None]
    unknown = tuple(zone.zone_id for zone in zones if zone.flow_l_min is None)
    too_large = tuple(zone.zone_id for zone in known if (zone.flow_l_min or 0.0) > supply_l_min)
    groups: list[list[ZoneFlow]] = []
    for zone in sorted(known, key=lambda zone: (-(zone.flow_l_min or 0.0), zone.zone_id)):
        if zone.zone_id in too_large:
            continue
        for group in groups:
            if _fits([*group, zone], supply_l_min, most_open, transformer_va):
                group.append(zone)
                break
        else:
            groups.append([zone])
    return Groups(tuple(tuple(zone.zone_id for zone in group) for group in groups), too_large, unknown)


def _fits(group: list[ZoneFlow], supply_l_min: float, most_open: int, transformer_va: float | None) -> bool:
    enough_water = sum(zone.flow_l_min or 0.0 for zone in group) <= supply_l_min
    enough_power = transformer_va is None or _peak_va(group) <= transformer_va
    return len(group) <= most_open and enough_water and enough_power


def _peak_va(group: list[ZoneFlow]) -> float:
    return sum(zone.valve_va for zone in group) + max(zone.excess_va for zone in group)
