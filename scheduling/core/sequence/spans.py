"""What a timeline switches, as spans: each output from the command that turns it on to the one that ends it."""

from collections.abc import Iterable
from dataclasses import dataclass

from scheduling.core.sequence.plant import Plant, Valve
from scheduling.core.sequence.timeline import ON_ACTIONS, Action, Command

VALVE_ACTIONS = (Action.OPEN_VALVE, Action.CLOSE_VALVE)
MASTER_ACTIONS = (Action.OPEN_MASTER, Action.CLOSE_MASTER)
_PUMP = Valve(id=-1, name="pump", opens_from_s=0, opens_within_s=0, closes_from_s=0, closes_within_s=0)


class Malformed(Exception):
    """A command that changes nothing or that the plant cannot carry out; `index` is its place."""

    def __init__(self, index: int, text: str) -> None:
        super().__init__(text)
        self.index = index


@dataclass(frozen=True, slots=True)
class Span:
    """One output on from command number `on` to command number `off` (None: never switched off).

    sent_on_s, sent_off_s are the times those commands are sent. `element` carries the stroke bounds.
    """

    element: Valve
    on: int
    off: int | None
    sent_on_s: float
    sent_off_s: float
    delay_s: float

    @property
    def surely_open(self) -> tuple[float, float]:
        """Open in this span whatever the delays; empty if the end is not after the start."""
        return (
            self.sent_on_s + self.delay_s + self.element.opens_within_s,
            self.sent_off_s + self.element.closes_from_s,
        )

    @property
    def perhaps_open(self) -> tuple[float, float]:
        """Open in this span for some delays."""
        return (
            self.sent_on_s + self.element.opens_from_s,
            self.sent_off_s + self.delay_s + self.element.closes_within_s,
        )


@dataclass(frozen=True)
class Spans:
    valves: tuple[Span, ...]  # by time of opening
    master: tuple[Span, ...]
    pump: tuple[Span, ...]

    @property
    def all(self) -> Iterable[Span]:
        return (*self.valves, *self.master, *self.pump)


class _Output:
    """Collects the spans of one kind of output while the commands are read in order."""

    def __init__(self, delay_s: float) -> None:
        self.on: dict[int, tuple[int, float, Valve]] = {}
        self.done: list[Span] = []
        self.delay_s = delay_s

    def switch_on(self, index: int, command: Command, element: Valve) -> None:
        if element.id in self.on:
            raise Malformed(index, f"{element.name} is already on")
        self.on[element.id] = (index, command.at_s, element)

    def switch_off(self, index: int, command: Command, element: Valve) -> None:
        if element.id not in self.on:
            raise Malformed(index, f"{element.name} is already off")
        on, sent_on_s, _ = self.on.pop(element.id)
        self.done.append(Span(element, on, index, sent_on_s, command.at_s, self.delay_s))

    def spans(self, end_s: float) -> tuple[Span, ...]:
        left_on = [
            Span(element, on, None, sent_on_s, end_s, self.delay_s) for on, sent_on_s, element in self.on.values()
        ]
        return tuple(sorted(self.done + left_on, key=lambda span: (span.sent_on_s, span.on)))


def read_spans(commands: tuple[Command, ...], plant: Plant) -> Spans:
    """The spans of a timeline; raises `Malformed` at the first command that makes no sense."""
    valves, master, pump = (_Output(plant.command_delay_s) for _ in range(3))
    by_id = {valve.id: valve for valve in plant.valves}
    last_s = float("-inf")
    for index, command in enumerate(commands):
        if command.at_s < last_s:
            raise Malformed(index, "the commands are not in order of time")
        last_s = command.at_s
        if command.action in VALVE_ACTIONS:
            output, element = valves, by_id.get(command.valve_id if command.valve_id is not None else -1)
        elif command.action in MASTER_ACTIONS:
            output, element = master, plant.master
        else:
            output, element = pump, _PUMP if plant.pump else None
        if element is None:
            raise Malformed(index, f"the plant has nothing that could {command.words({})}")
        if command.action not in ON_ACTIONS:
            output.switch_off(index, command, element)
            continue
        if output is valves and plant.interlocked and element.id not in valves.on:
            for _, _, other in list(valves.on.values()):
                valves.switch_off(index, command, other)
        output.switch_on(index, command, element)
    end_s = last_s + plant.command_delay_s if commands else 0.0
    return Spans(valves.spans(end_s), master.spans(end_s), pump.spans(end_s))
