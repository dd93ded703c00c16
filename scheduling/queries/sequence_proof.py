"""The proof of a supply's week, or the case that breaks it, in local time and in words."""

import zoneinfo
from collections.abc import Iterable
from dataclasses import replace

from scheduling.core.sequence.plant import Plant
from scheduling.core.sequence.simulate import explain, explain_together
from scheduling.core.sequence.timeline import HOUR_S, Excess, Rule, Timeline
from scheduling.core.sequence.together import Clash, verify_together
from scheduling.core.sequence.verify import CounterExample, Margin, Proof, Verdict
from scheduling.queries.sequence_weeks import ControllerWeek, Kept, Moments, SupplyWeek
from scheduling.queries.week_concerns import SUPPLY, Concern, unknown_flows
from sites.core.units import format_quantity
from sites.models import Firm, WaterSupply

SHOWN_EVENTS = 12
SHORTLY_S = 60.0


def supply_week(supply: WaterSupply | None, weeks: Iterable[ControllerWeek], zone: zoneinfo.ZoneInfo) -> SupplyWeek:
    """The compiled weeks of all controllers on one supply with their proof or counter-example."""
    name, weeks = supply.name if supply else "", tuple(weeks)
    whole = [week for week in weeks if week.part is not None]
    verdict = verify_together(tuple(week.part for week in whole if week.part))
    alone = {week.controller.pk: own for week, own in zip(whole, verdict.alone, strict=True)}
    proved = [_proved(week, alone.get(week.controller.pk), zone) for week in weeks]
    missing = [week for week in weeks if week.part is None]
    if missing and len(weeks) > 1:
        proved = [_beside(week, missing[0]) for week in proved]
    if verdict.clash is not None:
        proved = [_clashing(week, verdict.clash, tuple(whole), zone) for week in proved]
    kept = _kept(verdict.margins, whole[0].timeline, zone) if whole else ()
    unknown = unknown_flows(name, [week.part for week in whole if week.part], zone)
    told_of = {whole[place].controller.pk: concern for place, concern in unknown.items()}
    told = tuple(with_concern(week, told_of.get(week.controller.pk)) for week in proved)
    return SupplyWeek(supply, told, verdict, kept)


def _proved(week: ControllerWeek, verdict: Verdict | None, zone: zoneinfo.ZoneInfo) -> ControllerWeek:
    """With the proof or counter-example of its own commands."""
    timeline, plant = week.timeline, week.plant
    week = replace(week, verdict=verdict)
    if timeline is None or plant is None or not timeline.commands:
        return week
    if isinstance(verdict, Proof):
        words = _proof_words(verdict, plant)
        return replace(week, ok=True, words=words, kept=_kept(verdict.margins, timeline, zone))
    assert verdict is not None
    story = _local(explain(timeline, plant, verdict.delays, verdict.at_s), timeline, zone)
    return replace(week, ok=False, words=_broken_words(verdict), story=story, remedy=_remedy(plant))


def _beside(week: ControllerWeek, missing: ControllerWeek) -> ControllerWeek:
    if week.timeline is None or not week.timeline.commands:
        return week
    words = f"Not proved together with {missing.controller}, whose programs cannot be compiled"
    return replace(week, concerns=(*week.concerns, Concern(SUPPLY, words, week.runs[0].opens_at, unsafe=True)))


def _clashing(
    week: ControllerWeek, clash: Clash, weeks: tuple[ControllerWeek, ...], zone: zoneinfo.ZoneInfo
) -> ControllerWeek:
    """A controller that keeps the rules alone and breaks one with the others on its supply."""
    timeline = week.timeline
    if timeline is None or not timeline.commands:
        return week
    names = [str(other.controller) for other in weeks if other.runs]
    parts = tuple(other.part for other in weeks if other.part is not None)
    events = explain_together(parts, clash.delays, clash.at_s)
    if clash.rule in (Rule.PUMP_REST, Rule.PUMP_STARTS):
        hour = explain_together(parts, clash.delays, clash.at_s, HOUR_S + SHORTLY_S)
        events = tuple(one for one in hour if "pump" in one[1] and one[0] <= clash.at_s + SHORTLY_S)[-SHOWN_EVENTS:]
    words = f"{_broken_words(clash)} Each is proved alone, not together: {', '.join(names)}."
    remedy = "Start one of them later, or let their programs stand on one controller."
    story = _local(events, timeline, zone)
    return replace(week, ok=False, words=words, story=story, remedy=remedy, clash=clash)


def _broken_words(broken: Clash | CounterExample) -> str:
    told = in_units(broken.text, broken.excess)
    return f"Rule broken: {broken.rule.value}. {told[:1].upper()}{told[1:]}."


def _kept(margins: Iterable[Margin], timeline: Timeline | None, zone: zoneinfo.ZoneInfo) -> tuple[Kept, ...]:
    assert timeline is not None
    return tuple(
        Kept(str(margin.rule.value), margin.margin_s, timeline.at(margin.at_s, zone), margin.kept_text)
        for margin in margins
    )


def in_units(text: str, excess: Excess | None) -> str:
    """The core's words, with its figures in the firm's units."""
    if excess is None:
        return text
    units = Firm.current().units
    takes, feeds = (format_quantity(rate, "flow", units) for rate in (excess.flow_l_min, excess.supply_l_min))
    return f"{text}: {takes} of {feeds}"


def _remedy(plant: Plant) -> str:
    if not plant.runs_through:
        return ""
    return (
        "This controller swaps interlocked outputs by itself while the pump runs. Have the outputs separated so that "
        "zones can overlap, or let each zone be a program of its own with a pause, so that the pump stops in between."
    )


def _proof_words(proof: Proof, plant: Plant) -> str:
    pump = "the pump never works against closed valves, " if plant.pump else ""
    together = "one valve waters" if plant.most_open == 1 else f"{plant.most_open} valves water together"
    return (
        f"Proved for every delay up to {plant.command_delay_s:g} s a command and every valve stroke within its "
        f"bounds: {pump}no more than {together} beyond the hand-over, everything is off at the end and each "
        f"zone gets its minutes. {proof.commands} commands."
    )


def _local(events: Iterable[tuple[float, str]], timeline: Timeline, zone: zoneinfo.ZoneInfo) -> Moments:
    return tuple((timeline.at(seconds, zone), text) for seconds, text in list(events)[:SHOWN_EVENTS])


def with_concern(week: ControllerWeek, concern: Concern | None) -> ControllerWeek:
    return week if concern is None else replace(week, concerns=(*week.concerns, concern))
