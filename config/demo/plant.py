"""The plant of one site, built in memory: supply, pump, backflow assembly, controllers, valves, zones, meter."""

import datetime as dt
import random
from dataclasses import dataclass, field

from config.demo.pipes import plant_narrow_pipe, record_pipes
from config.demo.sketches import NAMED, Kind, Mistake, SiteSketch
from config.demo.zones import zone_of
from sites.models import BackflowAssembly, Controller, Meter, Pump, Site, Valve, WaterSupply, Zone

# Flow available (L/min) and static pressure (kPa), low and high: plausible for such places, no source.
FLOW_L_MIN = {
    Kind.HOME: (38, 62),
    Kind.ASSOCIATION: (65, 120),
    Kind.SCHOOL: (110, 170),
    Kind.SPORTS: (330, 420),
    Kind.PARK: (100, 180),
}
PRESSURE_KPA = {"mains": (380, 620), "well": (280, 420), "pump": (420, 600), "gravity": (150, 260)}
WIRE = {Kind.HOME: (12, 60, 0.823), Kind.ASSOCIATION: (25, 140, 1.31), Kind.SCHOOL: (40, 180, 2.08)}
WIRE_LONG = (60, 260, 2.5)
TERMINALS = (4, 6, 8, 12, 16, 24, 36)
COILS_OHM = (22, 26, 30, 34, 40, 46, 54)
SHUTOFFS = ("beside the water meter", "cellar, left of the door", "pit at the gate", "garage wall", "pump house")
CONTROLLER_PLACES = (
    "garage",
    "cellar stairs",
    "pump house",
    "shed wall",
    "caretaker's room",
    "cabinet at the gate",
)


@dataclass
class SitePlant:
    """Rows that are not saved yet, parents before children."""

    site: Site
    supplies: list[WaterSupply] = field(default_factory=list)
    pumps: list[Pump] = field(default_factory=list)
    backflows: list[BackflowAssembly] = field(default_factory=list)
    controllers: list[Controller] = field(default_factory=list)
    valves: list[Valve] = field(default_factory=list)
    zones: list[Zone] = field(default_factory=list)
    meters: list[Meter] = field(default_factory=list)


def build_plant(site: Site, sketch: SiteSketch, rng: random.Random, today: dt.date) -> SitePlant:
    plant = SitePlant(site)
    supply = _supply(plant, sketch, rng)
    if sketch.supply in ("mains", "well"):
        plant.backflows.append(_backflow(site, supply, sketch, rng, today))
    coil_ohm = rng.choice(COILS_OHM[:2] if sketch.mistake == Mistake.OVERLOADED_TRANSFORMER else COILS_OHM)
    large = sketch.kind == Kind.ASSOCIATION and sketch.zones >= 10 and sketch.index % 4 == 1
    halves = 2 if large or sketch.mistake == Mistake.SHARED_PUMP else 1
    share = -(-sketch.zones // halves)
    for half in range(halves):
        numbers = range(half * share + 1, min(sketch.zones, (half + 1) * share) + 1)
        has_master = half == 0 and sketch.supply == "mains" and sketch.index % 4 == 0
        has_master = has_master or sketch.mistake == Mistake.OVERLOADED_TRANSFORMER
        controller = _controller(supply, sketch, rng, len(numbers) + has_master, coil_ohm, half)
        plant.controllers.append(controller)
        for terminal, number in enumerate(numbers, start=1):
            valve = _valve(controller, terminal, f"Valve {number}", sketch, rng, coil_ohm)
            plant.valves.append(valve)
            plant.zones.append(zone_of(site, valve, number, sketch, supply.flow_available_l_min or 0.0, rng, today))
        if has_master:
            master = _valve(controller, len(numbers) + 1, "Master valve", sketch, rng, coil_ohm)
            master.is_master, master.size_mm = True, 40.0
            plant.valves.append(master)
    if rng.random() < 0.9 or sketch.mistake:
        plant.meters.append(_meter(site, sketch, rng))
    record_pipes(sketch, plant.supplies, plant.pumps, plant.valves, plant.zones)
    plant_mistake = PLANTERS.get(sketch.mistake) if sketch.mistake else None
    if plant_mistake:
        plant_mistake(plant)
    return plant


def _supply(plant: SitePlant, sketch: SiteSketch, rng: random.Random) -> WaterSupply:
    words = {"mains": "Mains", "well": "Well", "pump": "Pond pump", "gravity": "Roof tank"}
    supply = WaterSupply(
        site=plant.site,
        name=words[sketch.supply],
        kind=sketch.supply,
        static_pressure_kpa=float(5 * round(rng.uniform(*PRESSURE_KPA[sketch.supply]) / 5)),
        flow_available_l_min=float(round(rng.uniform(*FLOW_L_MIN[sketch.kind]))),
        shutoff_location=rng.choice(SHUTOFFS),
    )
    plant.supplies.append(supply)
    if sketch.supply == "pump":
        assert supply.flow_available_l_min and supply.static_pressure_kpa
        power_kw = round(supply.flow_available_l_min / 60_000 * supply.static_pressure_kpa / 0.5, 1)
        plant.pumps.append(
            Pump(
                supply=supply,
                prime_delay_s=rng.choice((3, 5, 8)),
                minimum_run_s=rng.choice((60, 90, 120)),
                most_starts_per_hour=rng.choice((4, 6, 10)),
                rated_power_kw=max(0.4, power_kw),
            )
        )
    return supply


def _backflow(
    site: Site, supply: WaterSupply, sketch: SiteSketch, rng: random.Random, today: dt.date
) -> BackflowAssembly:
    kinds = ("double_check", "reduced_pressure", "pressure_vacuum")
    # Some are overdue; a named site shows its own mistake and no other.
    overdue = rng.random() < 0.14 and sketch.index >= len(NAMED)
    days_ago = rng.randint(375, 520) if overdue else rng.randint(20, 340)
    tested_on = today - dt.timedelta(days=days_ago)
    return BackflowAssembly(
        site=site,
        supply=supply,
        kind=rng.choices(kinds, (50, 30, 20))[0],
        size_mm={Kind.HOME: 25.0, Kind.ASSOCIATION: 40.0}.get(sketch.kind, 50.0),
        serial_number=f"B{sketch.index:04d}-{rng.randrange(1000, 9999)}",
        location=rng.choice(("pit beside the meter", "outside wall, north side", "cellar", "cabinet at the gate")),
        last_tested_on=tested_on,
        test_due_on=tested_on + dt.timedelta(days=365),
    )


def _controller(
    supply: WaterSupply, sketch: SiteSketch, rng: random.Random, valves: int, coil_ohm: int, half: int
) -> Controller:
    direct = coil_ohm >= 46 and sketch.index % 3 == 0
    networked = sketch.kind != Kind.HOME and rng.random() < 0.3
    # A pump, and a well's pressure switch, want flow that never stops: their outputs must be able to overlap.
    keeps_flow = sketch.supply in ("pump", "well")
    return Controller(
        site=supply.site,
        supply=supply,
        name="Controller" if half == 0 else f"Controller {half + 1}",
        location=rng.choice(CONTROLLER_PLACES),
        terminals=next(size for size in TERMINALS if size >= valves),
        output="dc24" if direct else "ac24",
        transformer_va=60.0 if direct else float(rng.choice((30, 40, 50))),
        pump_relay_va=6.0 if sketch.supply == "pump" else None,
        one_valve_at_a_time=not keeps_flow,
        command_delay_bound_s=5.0 if networked else 2.0,
        set_by_hand=not networked,
        has_seasonal_percentage=rng.random() < 0.8,
    )


def _valve(
    controller: Controller, terminal: int, name: str, sketch: SiteSketch, rng: random.Random, coil_ohm: int
) -> Valve:
    shortest, longest, section = WIRE.get(sketch.kind, WIRE_LONG)
    resistance = round(coil_ohm * rng.uniform(0.96, 1.04), 1)
    # A DC coil draws U/R; an AC coil's impedance is taken as three times its resistance (plausible, no source).
    holding_va = 24**2 / (resistance if controller.output == "dc24" else 3 * resistance)
    return Valve(
        controller=controller,
        terminal=terminal,
        name=name,
        location=rng.choice(("box at the terrace", "box under the hedge", "box at the drive", "box by the path", "")),
        size_mm=25.0 if sketch.kind == Kind.HOME else 40.0,
        coil_resistance_ohm=resistance,
        coil_holding_va=round(holding_va, 1),
        wire_length_m=float(round(rng.uniform(shortest, longest))),
        wire_section_mm2=section,
        opens_within_s=float(rng.choice((3, 5))),
        closes_within_s=float(rng.choice((8, 12, 15))),
        installed_on=_built_in(sketch, controller, terminal),
    )


def _built_in(sketch: SiteSketch, controller: Controller, terminal: int) -> dt.date | None:
    """Most valves came with the plant, some were replaced since, of some nobody knows. Own dice, so that the other
    figures of the demo stay as they are."""
    plant = random.Random(sketch.index).randint(2003, 2021)
    dice = random.Random(f"{sketch.index} {controller.name} {terminal}")
    if dice.random() < 0.15:
        return None
    year = dice.randint(plant, 2024) if dice.random() < 0.25 else plant
    return dt.date(year, dice.randint(3, 6), 1)


def _meter(site: Site, sketch: SiteSketch, rng: random.Random) -> Meter:
    units = ("m3", "ccf", "kgal", "us_gallon")
    unit = rng.choices(units, (80, 8, 6, 6))[0]
    return Meter(
        site=site,
        serial_number=f"W{sketch.index:04d}-{rng.randrange(10000, 99999)}",
        unit=unit,
        digits=7 if unit == "us_gallon" else 6,
    )


def _nothing(plant: SitePlant) -> None:
    """A site without a planted mistake."""


def _plant_pump_without_overlap(plant: SitePlant) -> None:
    for controller in plant.controllers:
        # Set by hand: nobody can stop the pump between two zones.
        controller.one_valve_at_a_time = controller.set_by_hand = True


def _plant_short_window(plant: SitePlant) -> None:
    plant.site.watering_window_start, plant.site.watering_window_end = dt.time(5, 0), dt.time(5, 45)


def _plant_overload(plant: SitePlant) -> None:
    for controller in plant.controllers:
        controller.transformer_va, controller.output = 10.0, "ac24"


def _plant_shared_pump(plant: SitePlant) -> None:
    """A pump that wants a rest; the programs that leave it none come with what is published."""
    plant.site.watering_window_start, plant.site.watering_window_end = dt.time(22, 0), dt.time(6, 0)
    for pump in plant.pumps:
        pump.minimum_rest_s, pump.most_starts_per_hour = 600, 2


def _plant_double_terminal(plant: SitePlant) -> None:
    plant.valves[3].terminal = plant.valves[2].terminal


def _plant_missing_figures(plant: SitePlant) -> None:
    for zone in plant.zones[:3]:
        zone.area_m2 = zone.application_rate_mm_h = zone.flow_l_min = zone.distribution_uniformity = None
        zone.figures_origin = "unknown"
    plant.zones[3].area_m2 = None
    plant.supplies[0].flow_available_l_min = plant.supplies[0].static_pressure_kpa = None


def _plant_doubtful_figures(plant: SitePlant) -> None:
    assert plant.supplies[0].flow_available_l_min and plant.zones[1].application_rate_mm_h
    plant.zones[0].flow_l_min = round(1.3 * plant.supplies[0].flow_available_l_min, 1)
    plant.zones[1].application_rate_mm_h = round(2.5 * plant.zones[1].application_rate_mm_h, 1)
    plant.zones[2].valve = None  # its valve stays, without a zone
    plant.valves[3].wire_length_m, plant.valves[3].wire_section_mm2 = 240.0, 0.2
    plant_narrow_pipe(plant.zones[4])
    for backflow in plant.backflows:
        assert backflow.last_tested_on and backflow.test_due_on
        backflow.last_tested_on -= dt.timedelta(days=500)
        backflow.test_due_on -= dt.timedelta(days=500)


PLANTERS = {
    Mistake.PUMP_WITHOUT_OVERLAP: _plant_pump_without_overlap,
    Mistake.SHORT_WINDOW: _plant_short_window,
    Mistake.OVERLOADED_TRANSFORMER: _plant_overload,
    Mistake.SHARED_PUMP: _plant_shared_pump,
    Mistake.DOUBLE_TERMINAL: _plant_double_terminal,
    Mistake.MISSING_FIGURES: _plant_missing_figures,
    Mistake.DOUBTFUL_FIGURES: _plant_doubtful_figures,
}
