"""A site's plant as its register describes it: one description for checks, water, drawings, sequences and paper.

Field names are the register's own, in SI with their units; None or "" is not known. What cannot be is refused here,
with the field's name, and trusted everywhere else.
"""

from collections.abc import Mapping
from dataclasses import MISSING, dataclass, fields
from datetime import date
from functools import cached_property
from typing import Any, ClassVar, Self

from sites.core.electrical import Coil
from sites.core.figures import sum_known
from sites.core.hydraulics import PumpCurve
from sites.core.rulebook import BACKFLOW, CONTROLLER, PUMP, SUPPLY, VALVE, ZONE, Field, Table
from sites.core.rulebook.fields import NUMERIC
from sites.core.units import System


@dataclass(frozen=True)
class Refused:
    """A figure of the register that cannot be; `subject` is "valve", "zone" and so on with its id."""

    subject: str
    subject_id: int
    name: str
    field: Field
    value: float
    words: str


class Described:
    """Refuses a number outside its field's limits, or that contradicts another: ValueError with the field's name."""

    table: ClassVar[Table]

    def __post_init__(self) -> None:
        for name, words in impossible(self.table, vars(self)).items():
            raise ValueError(f"{name} of {self}: {words}")

    def shown(self, name: str, system: System | str = System.METRIC, missing: str = "–") -> str:
        """One of its fields as a person reads it, with its unit."""
        return self.table[name].shown(getattr(self, name), system, missing)

    @classmethod
    def read(cls, values: Mapping[str, Any]) -> tuple[Self, dict[str, str]]:
        """The thing with what its register says of it, and words for each figure refused: that one is not known."""
        known = {name: values.get(name, usual) for name, usual in defaults(cls).items()}
        refused: dict[str, str] = {}
        while wrong := impossible(cls.table, known):
            refused |= wrong
            known |= {name: defaults(cls)[name] for name in wrong}
        return cls(**known), refused


def defaults(kind: Any) -> dict[str, Any]:
    """Every field of a described thing with what it is while nobody knows."""
    return {one.name: None if one.default is MISSING else one.default for one in fields(kind)}


def impossible(table: Table, values: Mapping[str, Any]) -> dict[str, str]:
    """The numbers no plant can have, with the reason; a number that is missing is none of them."""
    refused = table.refusals(values)
    return {
        name: words for name, words in refused.items() if values[name] is not None and table[name].kind in NUMERIC
    }


@dataclass(frozen=True)
class Pump(Described):
    """A pump; the controller starts it where its supply's kind is "pump". Times are common practice, no source,
    until the nameplate is read."""

    table = PUMP

    name: str = "Pump"
    prime_delay_s: int = 5  # path open this long before the pump starts
    minimum_run_s: int = 60
    minimum_rest_s: int = 60
    run_down_s: int = 2  # path stays open this long after it stops
    most_starts_per_hour: int = 6
    rated_power_kw: float | None = None
    shutoff_head_m: float | None = None
    curve_flow_1_l_min: float | None = None
    curve_head_1_m: float | None = None
    curve_flow_2_l_min: float | None = None
    curve_head_2_m: float | None = None
    efficiency_percent: float | None = None  # of pump and motor together
    energy_price_per_kwh: float | None = None

    def __str__(self) -> str:
        return self.name

    @cached_property
    def curve(self) -> PumpCurve | None:
        """The curve through its three points; None as long as one is missing."""
        flow_1, flow_2 = self.curve_flow_1_l_min, self.curve_flow_2_l_min
        head_0, head_1, head_2 = self.shutoff_head_m, self.curve_head_1_m, self.curve_head_2_m
        if flow_1 is None or flow_2 is None or head_0 is None or head_1 is None or head_2 is None:
            return None
        return PumpCurve.through([(0.0, head_0), (flow_1 * 60 / 1000, head_1), (flow_2 * 60 / 1000, head_2)])


@dataclass(frozen=True)
class Supply(Described):
    """Where the water comes from. kind: "mains", "well" (pressure switch), "pump" (the controller starts it) or
    "gravity". working_pressure_kpa is read while flow_available_l_min runs."""

    table = SUPPLY

    id: int
    name: str = "Supply"
    kind: str = "mains"
    static_pressure_kpa: float | None = None
    flow_available_l_min: float | None = None
    working_pressure_kpa: float | None = None
    shutoff_location: str = ""
    pump: Pump | None = None

    def __str__(self) -> str:
        return f"{self.name} ({self.shown('kind')})"

    @property
    def pumped(self) -> bool:
        """Whether a controller starts its pump."""
        return self.kind == "pump"

    @property
    def curve(self) -> PumpCurve | None:
        return self.pump.curve if self.pump else None


@dataclass(frozen=True)
class Backflow(Described):
    """A backflow assembly, by kind and serial number."""

    table = BACKFLOW

    id: int
    kind: str = "reduced_pressure"
    supply_id: int | None = None
    size_mm: float | None = None
    serial_number: str = ""
    location: str = ""
    last_tested_on: date | None = None
    test_due_on: date | None = None

    def __str__(self) -> str:
        return f"{self.shown('kind')} {self.serial_number}".strip()


@dataclass(frozen=True)
class Controller(Described):
    """output: "ac24", "dc24" or "latching". colliding_programs: "queue" or "refuse"."""

    table = CONTROLLER

    id: int
    name: str = "Controller"
    supply_id: int | None = None
    location: str = ""
    terminals: int = 1
    output: str = "ac24"
    transformer_va: float | None = None
    output_v: float | None = None  # measured with one valve open
    pump_relay_va: float | None = None
    one_valve_at_a_time: bool = True
    most_valves_open: int = 1
    ends_outputs_itself: bool = False
    colliding_programs: str = "queue"
    command_delay_bound_s: float = 2.0
    set_by_hand: bool = True
    has_seasonal_percentage: bool = True

    def __str__(self) -> str:
        return self.name


@dataclass(frozen=True)
class Valve(Described):
    """A zone or master valve. It is surely open (shut) within its bounds after its coil is switched."""

    table = VALVE

    id: int
    name: str
    controller_id: int
    terminal: int | None = None
    is_master: bool = False
    location: str = ""
    size_mm: float | None = None
    coil_resistance_ohm: float | None = None  # when new, at 20 degC
    coil_holding_va: float | None = None
    coil_inrush_va: float | None = None
    wire_length_m: float | None = None  # one way
    wire_section_mm2: float | None = None
    pressure_loss_kpa: float | None = None
    opens_within_s: float = 5.0
    closes_from_s: float = 0.0
    closes_within_s: float = 15.0
    installed_on: date | None = None

    def __str__(self) -> str:
        return self.name

    @property
    def coil(self) -> Coil | None:
        """What its coil takes; None while its holding load is not known."""
        return None if self.coil_holding_va is None else Coil(self.coil_holding_va, self.coil_inrush_va)


@dataclass(frozen=True)
class Zone(Described):
    """A zone with the pipe to its farthest head. figures_origin, flow_origin: "measured", "design" or "unknown";
    flow_origin "" where the flow was found together with rate and uniformity."""

    table = ZONE

    id: int
    number: int = 0
    name: str = ""
    valve_id: int | None = None
    area_m2: float | None = None
    planting: str = "cool_turf"
    soil: str = ""
    slope_percent: float = 0.0
    exposure: str = "sun"
    emitter: str = "rotor"
    application_rate_mm_h: float | None = None
    distribution_uniformity: float | None = None
    flow_l_min: float | None = None
    figures_origin: str = "design"
    measured_on: date | None = None
    flow_origin: str = ""
    pipe_length_m: float | None = None
    pipe_inside_mm: float | None = None
    pipe_material: str = ""
    head_rise_m: float | None = None
    head_pressure_kpa: float | None = None
    root_depth_m: float | None = None
    planted_on: date | None = None
    in_use: bool = True

    def __str__(self) -> str:
        return f"{self.number} {self.name}"

    @property
    def emitter_words(self) -> str:
        return self.shown("emitter")


@dataclass(frozen=True)
class SitePlant:
    """All plant of one site; supplies, backflows and controllers by id, valves by terminal, zones by number.

    refused: figures of its register that cannot be; the description has them as not known.
    """

    name: str = ""
    latitude: float = 0.0
    supplies: tuple[Supply, ...] = ()
    backflows: tuple[Backflow, ...] = ()
    controllers: tuple[Controller, ...] = ()
    valves: tuple[Valve, ...] = ()
    zones: tuple[Zone, ...] = ()
    refused: tuple[Refused, ...] = ()

    def valves_on(self, controller_id: int) -> tuple[Valve, ...]:
        return tuple(valve for valve in self.valves if valve.controller_id == controller_id)

    def zone_valves_on(self, controller_id: int) -> tuple[Valve, ...]:
        return tuple(valve for valve in self.valves_on(controller_id) if not valve.is_master)

    def masters_on(self, controller_id: int) -> tuple[Valve, ...]:
        return tuple(valve for valve in self.valves_on(controller_id) if valve.is_master)

    def valve(self, valve_id: int | None) -> Valve | None:
        return next((valve for valve in self.valves if valve.id == valve_id), None)

    def controller(self, controller_id: int) -> Controller:
        """The controller with this id; KeyError if there is none."""
        for controller in self.controllers:
            if controller.id == controller_id:
                return controller
        raise KeyError(controller_id)

    def the_controller(self, controller_id: int) -> Controller:
        """One that is surely there; KeyError if not."""
        found = self.controller(controller_id)
        if found is None:
            raise KeyError(controller_id)
        return found

    def zones_of(self, valve_id: int) -> tuple[Zone, ...]:
        """What a valve waters: its zones in use."""
        return tuple(zone for zone in self.zones if zone.valve_id == valve_id and zone.in_use)

    def flow_l_min(self, valve_id: int) -> float | None:
        """What the valve's zones take together; None where one is not known or there is none."""
        flows = [zone.flow_l_min for zone in self.zones_of(valve_id)]
        return sum_known(flows) if flows else None

    def supply_of(self, controller: Controller | None) -> Supply | None:
        """The supply the controller names, or the only one there is."""
        if controller is not None and controller.supply_id is not None:
            return next((supply for supply in self.supplies if supply.id == controller.supply_id), None)
        return self.supplies[0] if len(self.supplies) == 1 else None

    def supply_of_zone(self, zone: Zone) -> Supply | None:
        valve = self.valve(zone.valve_id)
        opening = (one for one in self.controllers if valve is not None and one.id == valve.controller_id)
        return self.supply_of(next(opening, None))

    def outputs_at_once(self, controller: Controller) -> int:
        """Zone outputs that may be on together: one more at a hand-over that must not stop the flow."""
        if controller.one_valve_at_a_time:
            return 1
        supply = self.supply_of(controller)
        overlaps = supply is not None and supply.kind in ("pump", "well")
        return max(1, controller.most_valves_open) + (1 if overlaps else 0)
