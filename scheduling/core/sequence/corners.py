"""Delays at the corners of their bounds, from which a verifier builds its counter-examples."""

from scheduling.core.sequence.plant import Plant, Valve
from scheduling.core.sequence.spans import VALVE_ACTIONS, Spans
from scheduling.core.sequence.timeline import ON_ACTIONS, CommandDelay, Delays, Timeline


class Corners:
    """Corner delays of one timeline on one plant."""

    def __init__(self, timeline: Timeline, plant: Plant, spans: Spans) -> None:
        self.timeline = timeline
        self.plant = plant
        self.spans = spans
        self.delay_s = plant.command_delay_s

    def corner(self, wide: bool, effects: dict[int, float] | None = None) -> Delays:
        """Everything on early and off late (wide) or on late and off early; `effects` overrides by index."""
        delays = []
        closing = {span.off: span.element for span in self.spans.valves if span.off is not None}
        for index, command in enumerate(self.timeline.commands):
            turns_on = command.action in ON_ACTIONS
            pump = command.action not in VALVE_ACTIONS and command.valve_id is None
            early = turns_on == wide
            effect_s = 0.0 if early else self.delay_s
            if effects and index in effects:
                effect_s = effects[index]
            element = self._element(index)
            stroke_s = displaced_s = 0.0
            if element is not None:
                stroke_s = _stroke(element, opening=turns_on, early=early)
            if turns_on and not pump and index in closing:
                displaced_s = _stroke(closing[index], opening=False, early=not wide)
            delays.append(CommandDelay(effect_s, stroke_s, displaced_s))
        return tuple(delays)

    def _element(self, index: int) -> Valve | None:
        command = self.timeline.commands[index]
        if command.valve_id is not None:
            return self.plant.valve(command.valve_id)
        return self.plant.master if "master" in command.action else None

    def narrow(self, effects: dict[int, float] | None = None) -> Delays:
        """Valves open late and shut early, but the pump starts early and stops late."""
        pump = {
            index: 0.0 if command.action in ON_ACTIONS else self.delay_s
            for index, command in enumerate(self.timeline.commands)
            if "pump" in command.action
        }
        return self.corner(False, {**pump, **(effects or {})})


def soonest(timeline: Timeline, plant: Plant) -> Delays:
    """Every delay at its least; commands to valves that the plant does not have are allowed."""
    valves = {valve.id: valve for valve in plant.valves}
    delays = []
    for command in timeline.commands:
        is_master = "master" in command.action
        element = plant.master if is_master else valves.get(-1 if command.valve_id is None else command.valve_id)
        opening = command.action in ON_ACTIONS
        delays.append(CommandDelay(0.0, _stroke(element, opening=opening, early=True) if element else 0.0))
    return tuple(delays)


def _stroke(element: Valve, *, opening: bool, early: bool) -> float:
    if opening:
        return element.opens_from_s if early else element.opens_within_s
    return element.closes_from_s if early else element.closes_within_s
