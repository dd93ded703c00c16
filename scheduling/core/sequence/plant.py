"""What a sequence acts on: valves, pump, master valve and the controller that switches them."""

from dataclasses import dataclass

LONGEST_S = 3600.0  # of a delay or a stroke; beyond it no figure of a real plant, and no week could be planned
LONGEST_REST_S = 86400.0


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
class Pump:
    """A pump that the controller must start. Planning defaults are common practice, no source;
    the nameplate of the motor overrides them."""

    prime_delay_s: float = 5.0  # path open this long before the pump starts
    run_down_s: float = 2.0  # path stays open this long after it stops
    minimum_run_s: float = 60.0
    minimum_rest_s: float = 60.0
    most_starts_per_hour: int = 6

    def __post_init__(self) -> None:
        if min(self.prime_delay_s, self.run_down_s, self.minimum_run_s, self.minimum_rest_s) < 0:
            raise ValueError("pump times must not be negative")
        if max(self.prime_delay_s, self.run_down_s) > LONGEST_S or (
            max(self.minimum_run_s, self.minimum_rest_s) > LONGEST_REST_S
        ):
            raise ValueError("the pump's prime delay or run-down is over an hour, or its run or rest over a day")
        if self.most_starts_per_hour < 1:
            raise ValueError("a pump needs at least one start an hour")


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
