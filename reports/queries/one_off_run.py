"""A planned one-off run as the sheet for the person at the controller."""

import datetime as dt
import zoneinfo

from django.utils.text import capfirst

from reports.documents.one_off_run import OneOffRun, OneOffStep
from reports.documents.plant import pump_rule, who_to_call
from reports.queries.letterhead import day, letterhead
from scheduling.core.sequence.chart import chart
from scheduling.core.sequence.timeline import Action, Command, Timeline
from scheduling.queries.sequence_chart import FLAGS, chart_data
from scheduling.queries.sequence_weeks import ControllerWeek, SupplyWeek
from scheduling.queries.supply_proof import supply_proof
from sites.models import Controller, Firm, Site, Valve
from sites.queries.plant import site_plant

CHART_WIDTH = 760.0
ON = {Action.OPEN_VALVE, Action.OPEN_MASTER, Action.START_PUMP}


def one_off_run_data(run: SupplyWeek, site: Site, starts_at: dt.datetime, what: str) -> OneOffRun:
    """`run` is the run as `scheduling.queries.one_off_run` planned it."""
    (week,) = run.controllers
    controller, timeline = week.controller, week.timeline
    firm, described = letterhead(Firm.current()), site_plant(site)
    zone = zoneinfo.ZoneInfo(site.time_zone)
    know = dict.fromkeys([*(concern.words for concern in week.concerns), *week.notices])
    data = chart_data(week, site, None, f"{site.name}, {controller}: {what}")
    proof = supply_proof(run, one_off=True)
    return OneOffRun(
        firm=firm,
        reference=f"{site.name}, controller {controller.pk}",
        site_name=site.name,
        controller=controller.name,
        location=controller.location,
        what=capfirst(what),
        date=day(starts_at.date()),
        starts=f"{starts_at:%H:%M}",
        ends=f"{timeline.at(timeline.lasts_s, zone):%H:%M}" if timeline and timeline.commands else "",
        verdict=_verdict(week),
        safe=week.ok is not False,
        steps=_steps(timeline, controller, zone) if timeline else (),
        story=(*(f"{at:%H:%M:%S} {text}" for at, text in week.story), *([week.remedy] if week.remedy else [])),
        know=tuple(capfirst(words) for words in know),
        mishaps=tuple(f"{one.title}. {one.words}" for one in proof.mishaps if one.unsafe),
        pump_rule=pump_rule(described, described.controller(controller.pk)),
        call=who_to_call(firm, described, described.controller(controller.pk)),
        margins=tuple(
            f"{number}  {kept.margin_s:.1f} s to spare at {kept.at:%H:%M:%S}: {kept.rule} ({kept.text})"
            for number, kept in enumerate(week.kept[:FLAGS], start=1)
        ),
        chart=chart(data, CHART_WIDTH) if data and week.runs else None,
    )


def _verdict(week: ControllerWeek) -> str:
    """The proof is about a controller that keeps the seconds; whoever switches by hand has a guide."""
    if not week.ok:
        return week.words
    return "A guide for a person at the switch: the plan is proved only where a controller sends every command."


def _steps(timeline: Timeline, controller: Controller, zone: zoneinfo.ZoneInfo) -> tuple[OneOffStep, ...]:
    valves = {valve.pk: valve for valve in controller.valves.all()}
    master = next((valve for valve in valves.values() if valve.is_master), None)
    commands, begins_s = timeline.commands, min((command.at_s for command in timeline.commands), default=0.0)
    return tuple(
        OneOffStep(
            clock=f"{timeline.at(command.at_s, zone):%H:%M:%S}",
            after=_minutes(command.at_s - begins_s),
            do=_do(command, valves, interlocked=controller.one_valve_at_a_time),
            terminal=_terminal(command, valves, master),
            runs=_minutes(off_s - command.at_s)
            if (off_s := _off_s(command, commands[index + 1 :], controller))
            else "",
        )
        for index, command in enumerate(commands)
    )


def _do(command: Command, valves: dict[int, Valve], *, interlocked: bool) -> str:
    if command.valve_id is None:
        return capfirst(command.words({}))
    valve = valves[command.valve_id]
    zones = ", ".join(f"zone {row}" for row in valve.zones.all() if row.in_use)
    words = capfirst(command.words({valve.pk: valve.name})) + (f" ({zones})" if zones else "")
    if interlocked and command.action is Action.OPEN_VALVE:
        words += "; the valve before shuts by itself"
    return words


def _terminal(command: Command, valves: dict[int, Valve], master: Valve | None) -> str:
    is_master = command.action in (Action.OPEN_MASTER, Action.CLOSE_MASTER)
    valve = master if is_master else valves.get(command.valve_id or 0)
    if valve is None:
        return ""
    return str(valve.terminal) if valve.terminal is not None else "?"


def _off_s(command: Command, following: tuple[Command, ...], controller: Controller) -> float | None:
    """When the output that this command switches on is switched off: by its own command or, interlocked, the next."""
    if command.action not in ON:
        return None
    is_valve = command.valve_id is not None
    for later in following:
        if is_valve and controller.one_valve_at_a_time and later.valve_id is not None:
            return later.at_s
        same = later.valve_id == command.valve_id and later.action.split("_")[1] == command.action.split("_")[1]
        if same and later.action not in ON:
            return later.at_s
    return None


def _minutes(seconds: float) -> str:
    """ "2:05": minutes and seconds."""
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}"
