"""What a sequence acts on: one controller with its valves, master valve and pump.

`on_controller` reads it from the site's description. It is a view of its own because a proof needs settled bounds: a
valve's flow is that of all its zones, its soonest opening is a bound that the register does not hold, and how many
valves may be open, or whether flow may stop, follows from controller and supply together.
"""

from dataclasses import dataclass

from sites.core.plant import Controller, Pump, SitePlant
from sites.core.plant import Valve as DescribedValve

__all__ = ["Plant", "Pump", "Valve", "on_controller"]

LONGEST_S = 3600.0  # of a delay or a stroke; beyond it no figure of a real plant, and no week could be planned
TIMING = ("_s", "_per_hour", "most_valves_open")  # ends of the register's names that a proof rests on


@dataclass(frozen=True)
class Valve:
    """One zone valve. It is open (shut) at some moment within its bounds after its coil is switched.

    Bounds in seconds. `closes_from_s` is the soonest it may be shut; 0 is the safe choice when nobody knows.
    """

    id: int
    name: str
    flow_l_min: float | None = None
    opens_from_s: float = 0.0
    opens_within_s: float = 5.0
    closes_from_s: float = 0.0
    closes_within_s: float = 15.0

    def __post_init__(self) -> None:
        if not 0 <= self.opens_from_s <= self.opens_within_s <= LONGEST_S:
            raise ValueError(f"{self.name}: opening takes {self.opens_from_s} to {self.opens_within_s} s")
        if not 0 <= self.closes_from_s <= self.closes_within_s <= LONGEST_S:
            raise ValueError(f"{self.name}: closing takes {self.closes_from_s} to {self.closes_within_s} s")


@dataclass(frozen=True)
class Plant:
    """One controller with everything on it.

    command_delay_s: every command takes effect within [0, command_delay_s].
    interlocked: opening one valve output closes the other in the same instant.
    pump: None where the supply needs no command (mains, pressure switch, gravity).
    keep_flow: overlap at hand-over also without a pump command (well with pressure switch).
    most_open: zones that may water together; above 1 only with separate outputs.
    supply_l_min: flow the supply can feed, None if unknown.
    handover_limit_s: longest time for which one valve more may be open while one hands over to the next.
    latching: coils keep their place without power. enforces_max_on: the field device itself ends an output
    after the command's own longest duration.
    runs_through: interlocked outputs are swapped by the controller's own program with the pump running; nothing can
    stop the pump in between.
    """

    valves: tuple[Valve, ...]
    command_delay_s: float = 2.0
    interlocked: bool = False
    pump: Pump | None = None
    master: Valve | None = None
    keep_flow: bool = False
    most_open: int = 1
    supply_l_min: float | None = None
    handover_limit_s: float = 60.0
    latching: bool = False
    enforces_max_on: bool = False
    runs_through: bool = False

    def __post_init__(self) -> None:
        ids = [valve.id for valve in self.valves]
        if len(set(ids)) != len(ids):
            raise ValueError("two valves have the same id")
        if not 0 <= self.command_delay_s <= LONGEST_S:
            raise ValueError(f"a command delay of {self.command_delay_s:g} s: at least 0 and at most {LONGEST_S:g} s")
        if self.most_open < 1:
            raise ValueError("at least one valve must be allowed to open")
        if self.interlocked and self.most_open > 1:
            raise ValueError("interlocked outputs cannot open two valves together")

    def valve(self, valve_id: int) -> Valve:
        """The valve with this id; KeyError if there is none."""
        for valve in self.valves:
            if valve.id == valve_id:
                return valve
        raise KeyError(valve_id)

    @property
    def flow_must_not_stop(self) -> bool:
        return self.pump is not None or self.keep_flow

    def can_hand_over(self, closing: Valve, opening: Valve) -> bool:
        """Whether flow surely goes on when `closing` hands over to `opening` on this controller."""
        return not self.interlocked or closing.closes_from_s >= opening.opens_within_s


def on_controller(described: SitePlant, controller: Controller) -> Plant:
    """One controller of a site with what it switches.

    ValueError where a figure that the proof rests on cannot be, or where it is not known which supply feeds it and
    one of the site's is a pump: leaving the pump out would prove nothing.
    """
    supply = described.supply_of(controller)
    if supply is None and any(one.pumped for one in described.supplies):
        raise ValueError(f"{controller} names no water supply, and one of the site's is a pump. Choose its supply.")
    valves = described.zone_valves_on(controller.id)
    masters = described.masters_on(controller.id)
    things = {("controller", controller.id), *(("valve", valve.id) for valve in (*valves, *masters))}
    things |= {("supply", supply.id)} if supply else set()
    for refused in described.refused:
        if (refused.subject, refused.subject_id) in things and refused.field.name.endswith(TIMING):
            raise ValueError(f"{refused.name}, {refused.field.words}: {refused.words}")
    pump = (supply.pump or Pump()) if supply is not None and supply.pumped else None
    return Plant(
        valves=tuple(_valve(described, valve) for valve in valves),
        command_delay_s=controller.command_delay_bound_s,
        interlocked=controller.one_valve_at_a_time,
        pump=pump,
        master=_valve(described, masters[0]) if masters else None,
        keep_flow=supply is not None and supply.kind == "well",
        most_open=1 if controller.one_valve_at_a_time else controller.most_valves_open,
        supply_l_min=supply.flow_available_l_min if supply else None,
        latching=controller.output == "latching",
        enforces_max_on=controller.ends_outputs_itself,
        runs_through=pump is not None and controller.one_valve_at_a_time and controller.set_by_hand,
    )


def _valve(described: SitePlant, valve: DescribedValve) -> Valve:
    return Valve(
        id=valve.id,
        name=valve.name,
        flow_l_min=described.flow_l_min(valve.id),
        opens_within_s=valve.opens_within_s,
        closes_from_s=valve.closes_from_s,
        closes_within_s=valve.closes_within_s,
    )
