"""What a zone gets through its pipe: velocity, friction, pressure at the head, and what the pump does for it.

Every figure is a value or the names of what it needs; nothing missing is taken as zero. The one thing assumed is the
loss of a valve nobody recorded, and the answer says so. The zone's whole flow is led through the whole pipe: a
lateral really carries less towards its end, so friction is on the safe side.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from sites.core.hydraulics import (
    DESIGN_VELOCITY_M_S,
    FITTINGS_SHARE,
    WARN_VELOCITY_M_S,
    OperatingPoint,
    System,
    energy_kwh_per_m3,
    friction_kpa,
    lift_kpa,
    operating_point,
    pressure_at_head_kpa,
    shaft_power_kw,
    velocity_m_s,
)
from sites.core.plant import SitePlant, Supply, Valve, Zone

# Hazen-Williams C, the rough end of the handbooks' ranges (plastic and copper 150, new steel 140).
ROUGHNESS = {"pvc": 150.0, "pe": 140.0, "copper": 130.0, "galvanised": 120.0, "old_steel": 80.0, "aluminium": 120.0}
# Least pressure (kPa) at which a class of emitters throws or drips as meant, where the zone has no design pressure:
# 30, 40, 40, 20, 15, 15 and 20 psi rounded; common practice, no source, the device's own data override them.
LEAST_KPA = {
    "fixed_spray": 205.0,
    "rotating_nozzle": 275.0,
    "rotor": 275.0,
    "micro_spray": 140.0,
    "drip_grid": 105.0,
    "point_drip": 105.0,
    "bubbler": 140.0,
}
ASSUMED_VALVE_KPA = 35.0  # upper end of 15 to 35 kPa; common practice, no source
LOW_PRESSURE_SHARE = 0.9  # of the pressure wanted; below it the pattern suffers: common practice, no source
FLOW, DIAMETER, RISE = "flow of the zone", "inside diameter of the pipe", "height of the heads above the supply"
CURVE = "curve of the pump"
CURVE_EXPONENT = 1.852  # pressure falls with flow as in the pipe before it: Hazen-Williams, as in hydrant flow tests


@dataclass(frozen=True)
class Answer:
    """A figure, or the names of what it needs."""

    value: float | None = None
    needs: tuple[str, ...] = ()


@dataclass(frozen=True)
class ZoneAnswers:
    """flow_l_min: what the zone takes, at the pump's operating point where that could be found.

    wanted_kpa: the zone's design pressure, or what its emitter class needs at least (`wanted_by_class`).
    cannot_lift: the pump's head at no flow does not even lift the water.
    """

    zone: Zone
    supply: Supply | None
    flow_l_min: Answer
    velocity_m_s: Answer
    friction_kpa: Answer
    head_kpa: Answer
    wanted_kpa: float
    wanted_by_class: bool
    valve_assumed: bool
    point: OperatingPoint | None = None
    point_needs: tuple[str, ...] = ()
    cannot_lift: bool = False
    beyond_curve: bool = False
    power_kw: Answer = Answer()
    kwh_per_m3: Answer = Answer()
    cost_per_m3: Answer = Answer()

    @property
    def over_design(self) -> bool:
        return self.velocity_m_s.value is not None and self.velocity_m_s.value > DESIGN_VELOCITY_M_S

    @property
    def over_limit(self) -> bool:
        return self.velocity_m_s.value is not None and self.velocity_m_s.value > WARN_VELOCITY_M_S

    @property
    def too_low(self) -> bool:
        """Less than the head needs: the class's least pressure, or nine tenths of the zone's design pressure."""
        least = self.wanted_kpa if self.wanted_by_class else LOW_PRESSURE_SHARE * self.wanted_kpa
        return self.cannot_lift or (self.head_kpa.value is not None and self.head_kpa.value < least)


def site_answers(plant: SitePlant) -> list[ZoneAnswers]:
    """Every zone of the site with what can be computed for it."""
    return [zone_answers(zone, plant.supply_of_zone(zone), plant.valve(zone.valve_id)) for zone in plant.zones]


def zone_answers(zone: Zone, supply: Supply | None, valve: Valve | None) -> ZoneAnswers:
    """Everything that can be said of one zone on its valve and supply."""
    loss_kpa = valve.pressure_loss_kpa if valve else None
    valve_kpa = ASSUMED_VALVE_KPA if loss_kpa is None else loss_kpa
    point, point_needs, cannot_lift = _point(zone, supply, valve_kpa)
    flow_l_min = point.flow_m3_h * 1000 / 60 if point else zone.flow_l_min
    friction = _friction(zone, flow_l_min)
    if point is not None or cannot_lift:
        head = Answer(point.nozzle_kpa if point else 0.0)
    else:
        head = _at_head(zone, supply, friction, valve_kpa)
    curve = supply.curve if supply else None
    return ZoneAnswers(
        zone,
        supply,
        flow_l_min=Answer(flow_l_min) if flow_l_min is not None else Answer(needs=(FLOW,)),
        velocity_m_s=_velocity(zone, flow_l_min),
        friction_kpa=friction,
        head_kpa=head,
        wanted_kpa=LEAST_KPA[zone.emitter] if zone.head_pressure_kpa is None else zone.head_pressure_kpa,
        wanted_by_class=zone.head_pressure_kpa is None,
        valve_assumed=loss_kpa is None,
        point=point,
        point_needs=point_needs,
        cannot_lift=cannot_lift,
        beyond_curve=point is not None and curve is not None and point.flow_m3_h > curve.last_m3_h,
        **_energy(supply, point, point_needs),
    )


def supply_pressure_kpa(supply: Supply, flow_l_min: float) -> Answer:
    """What the supply gives at this flow: from the pump's curve, else between standing water and the flow test.

    p = static - (static - working) (q / q_test)^1.852, the law of hydrant flow tests (NFPA_291). It is
    not stretched beyond the flow that was tested.
    """
    if supply.curve is not None:
        return Answer(lift_kpa(supply.curve.head_m(flow_l_min * 60 / 1000)))
    static, tested, working = supply.static_pressure_kpa, supply.flow_available_l_min, supply.working_pressure_kpa
    if static is None or tested is None or working is None:
        known = {
            "static pressure of the supply": static,
            "flow available at the supply": tested,
            "pressure of the supply at that flow": working,
        }
        return Answer(needs=(CURVE,) if supply.pumped else _missing(known))
    if flow_l_min > tested:
        return Answer(needs=("a flow test of the supply at the zone's flow or more",))
    return Answer(static - (static - working) * (flow_l_min / tested) ** CURVE_EXPONENT)


def _velocity(zone: Zone, flow_l_min: float | None) -> Answer:
    if flow_l_min is None or zone.pipe_inside_mm is None:
        return Answer(needs=_missing({FLOW: flow_l_min, DIAMETER: zone.pipe_inside_mm}))
    return Answer(velocity_m_s(flow_l_min, zone.pipe_inside_mm))


def _friction(zone: Zone, flow_l_min: float | None) -> Answer:
    if flow_l_min is None or zone.pipe_inside_mm is None or zone.pipe_length_m is None or not zone.pipe_material:
        return Answer(needs=_missing({FLOW: flow_l_min, **_pipe(zone)}))
    pipe_kpa = friction_kpa(flow_l_min, zone.pipe_length_m, zone.pipe_inside_mm, ROUGHNESS[zone.pipe_material])
    return Answer((1 + FITTINGS_SHARE) * pipe_kpa)


def _pipe(zone: Zone) -> dict[str, object]:
    return {
        DIAMETER: zone.pipe_inside_mm,
        "material of the pipe": zone.pipe_material or None,
        "length of the pipe": zone.pipe_length_m,
    }


def _at_head(zone: Zone, supply: Supply | None, friction: Answer, valve_kpa: float) -> Answer:
    at_supply = Answer(needs=("water supply of the zone",))
    if supply is not None:
        at_supply = Answer() if zone.flow_l_min is None else supply_pressure_kpa(supply, zone.flow_l_min)
    if friction.value is None or at_supply.value is None or zone.head_rise_m is None:
        return Answer(needs=(*friction.needs, *_missing({RISE: zone.head_rise_m}), *at_supply.needs))
    return Answer(pressure_at_head_kpa(at_supply.value, zone.head_rise_m, friction.value, valve_kpa))


def _point(
    zone: Zone, supply: Supply | None, valve_kpa: float
) -> tuple[OperatingPoint | None, tuple[str, ...], bool]:
    """The operating point, what it needs, and whether the pump cannot even lift the water."""
    if supply is None or not supply.pumped:
        return None, (), False
    if (
        supply.curve is None
        or zone.flow_l_min is None
        or zone.head_pressure_kpa is None
        or zone.pipe_inside_mm is None
        or zone.pipe_length_m is None
        or zone.head_rise_m is None
        or not zone.pipe_material
    ):
        known = {CURVE: supply.curve, FLOW: zone.flow_l_min, **_pipe(zone), RISE: zone.head_rise_m}
        return None, _missing({**known, "design pressure at the head": zone.head_pressure_kpa}), False
    system = System(
        static_m=zone.head_rise_m,
        length_m=(1 + FITTINGS_SHARE) * zone.pipe_length_m,
        inside_mm=zone.pipe_inside_mm,
        nozzle_m3_h=zone.flow_l_min * 60 / 1000,
        nozzle_kpa=zone.head_pressure_kpa,
        c=ROUGHNESS[zone.pipe_material],
        other_kpa=valve_kpa,
    )
    point = operating_point(supply.curve, system)
    return point, (), point is None


def _energy(supply: Supply | None, point: OperatingPoint | None, point_needs: tuple[str, ...]) -> dict[str, Answer]:
    """Power, energy and cost of a cubic metre at the operating point; empty where the controller starts no pump."""
    if supply is None or not supply.pumped or (point is None and not point_needs):
        return {}
    pump = supply.pump
    efficiency = pump.efficiency_percent / 100 if pump and pump.efficiency_percent is not None else None
    price = pump.energy_price_per_kwh if pump else None
    needs = (*point_needs, *_missing({"efficiency of pump and motor": efficiency}))
    no_price = _missing({"price of a kWh": price})
    if point is None or efficiency is None:
        unknown = Answer(needs=needs)
        return {"power_kw": unknown, "kwh_per_m3": unknown, "cost_per_m3": Answer(needs=(*needs, *no_price))}
    kwh = energy_kwh_per_m3(point.flow_m3_h, point.head_m, efficiency)
    return {
        "power_kw": Answer(shaft_power_kw(point.flow_m3_h, point.head_m, efficiency)),
        "kwh_per_m3": Answer(kwh),
        "cost_per_m3": Answer(needs=no_price) if price is None else Answer(kwh * price),
    }


def _missing(known: Mapping[str, object]) -> tuple[str, ...]:
    return tuple(name for name, value in known.items() if value is None)
