"""Steps "as computed": a zone's week, shared out over all of its starts; and programs a person shaped, kept."""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Prefetch

from scheduling.core.water.clock import ClockZone, day_run
from scheduling.models import Program, ProgramStep, SeasonSchedule
from scheduling.queries.calendar import starts_per_week, starts_while_on
from scheduling.queries.plan import RULE_MONTH, SitePlan
from scheduling.queries.programs import clock_zone, forbidden_weekdays, litres_per_minute
from sites.core import writing
from sites.models import Site
from sites.models.places import WEEKDAYS

Rows = list[tuple[Program, list[ProgramStep]]]
Needs = Mapping[int, ClockZone]  # what zones need in the week of a draft, by their keys


def freeze_needs(plan: SitePlan) -> dict[str, dict[str, Any]]:
    """What a draft remembers of the week its minutes come from."""
    frozen = {}
    for item in plan.zones:
        zone = clock_zone(item)
        longest = None if math.isinf(zone.longest_cycle_min) else zone.longest_cycle_min
        frozen[str(item.zone.pk)] = {
            "run_time_min_per_week": zone.run_time_min_per_week,
            "longest_cycle_min": longest,
            "soak_min": zone.soak_min,
            "shortest_run_min": zone.shortest_run_min,
        }
    return frozen


def needs_of(schedule: SeasonSchedule) -> dict[int, ClockZone]:
    """Empty for a schedule that was computed before steps could follow it."""
    found = {}
    for key, values in schedule.basis.get("zone_weeks", {}).items():
        longest = math.inf if values["longest_cycle_min"] is None else values["longest_cycle_min"]
        found[int(key)] = ClockZone(key, days_per_week=1, **{**values, "longest_cycle_min": longest})
    return found


def refill(programs: Iterable[tuple[Program, Sequence[ProgramStep]]], needs: Needs, site: Site) -> None:
    """Set minutes, cycles and soak of every step as computed; a zone that needs nothing is switched off since.

    A zone's week is divided by all starts of its steps as computed. Programs that are off do not count; their own
    steps get what they would need alone.
    """
    following = [(program, step) for program, steps in programs for step in steps if step.as_computed]
    starts: dict[int, float] = defaultdict(float)
    for program, step in following:
        starts[step.zone_id] += starts_per_week(program, site)
    for program, step in following:
        need = needs.get(step.zone_id)
        count = starts[step.zone_id] if program.enabled else starts_while_on(program, site)
        if need is None or count <= 0:
            continue
        step.enabled = need.run_time_min_per_week > 0
        if step.enabled:
            run = day_run(need, count)
            step.run_time_min, step.cycles, step.soak_min = run.run_time_min, run.cycles, run.soak_min


@dataclass(frozen=True)
class OwnPrograms:
    """Programs that a person shaped, read whole before their draft goes; `kept_from` in words."""

    programs: tuple[tuple[Program, tuple[ProgramStep, ...]], ...]
    kept_from: str


def has_own_programs(site: Site) -> bool:
    rows = SeasonSchedule.objects.filter(site=site, own_programs=True)
    return rows.exclude(state=SeasonSchedule.State.SUPERSEDED).exists()


def minutes_words(schedule: SeasonSchedule) -> str:
    """Which minutes a schedule took: of when they were computed, and how many were typed."""
    month = f"{writing.month_name(schedule.month)} {schedule.season_year}"
    week = f"the week of {writing.day_month(schedule.week_starts_on)}"
    rests = f"the normal of {month}" if schedule.basis.get("rule") == RULE_MONTH else week
    steps = ProgramStep.objects.filter(program__schedule=schedule, enabled=True)
    typed = steps.filter(as_computed=False).count()
    words = f"Its minutes are as computed for {rests}"
    if typed == 0:
        return f"{words}."
    return f"{words}; {typed} step{'s' if typed > 1 else ''} of {steps.count()} as typed."


def own_programs(site_ids: Iterable[int], *, asked: bool) -> dict[int, OwnPrograms]:
    """By site: the programs of its draft, else of its published schedule, where a person shaped them.

    asked: somebody wants them kept, so a draft that was fitted again does not stand in their way.
    """
    states = (SeasonSchedule.State.DRAFT, SeasonSchedule.State.PUBLISHED)  # in this order, also of the alphabet
    rows = SeasonSchedule.objects.filter(site__in=site_ids, state__in=states).order_by("state")
    sources: dict[int, int] = {}
    for pk, site_id, own in rows.values_list("pk", "site_id", "own_programs"):
        if own or not asked:
            sources.setdefault(site_id, pk if own else 0)
    steps = ProgramStep.objects.select_related("zone__valve").order_by("position", "pk")
    kept = SeasonSchedule.objects.filter(pk__in=sources.values()).defer("basis")
    return {
        schedule.site_id: _read(schedule) for schedule in kept.prefetch_related(Prefetch("programs__steps", steps))
    }


def _read(schedule: SeasonSchedule) -> OwnPrograms:
    programs = list(schedule.programs.all())
    for program in programs:
        if program.day_rule == Program.DayRule.INTERVAL and program.counted_from is None:
            program.counted_from = schedule.week_starts_on  # the days must not shift with the draft
    is_draft = schedule.state == SeasonSchedule.State.DRAFT
    words = "the draft before" if is_draft else f"revision {schedule.revision}"
    return OwnPrograms(tuple((program, tuple(program.steps.all())) for program in programs), words)


def kept_with_new_minutes(own: OwnPrograms, plan: SitePlan) -> tuple[Rows, list[str]]:
    """The programs as new rows with this draft's minutes, and in words what to know about them."""
    needs = {item.zone.pk: clock_zone(item) for item in plan.zones}
    copies: Rows = []
    words: list[str] = []
    waiting: set[str] = set()
    typed = 0
    for program, steps in own.programs:
        kept = [step for step in steps if step.zone.in_use and wired(step, program)]
        words += [
            f"Zone {step.zone}: left out of {program.name}, it is out of use or on no valve of {program.controller}"
            for step in steps
            if step not in kept
        ]
        typed += sum(step.enabled and not step.as_computed for step in kept)
        waiting |= {str(step.zone) for step in kept if step.as_computed and step.zone_id not in needs}
        words += _not_permitted(program, plan.site)
        copies.append((_copy(program), [_copy(step) for step in kept]))
    refill(copies, needs, plan.site)
    words += [f"Zone {zone} cannot be computed: its step keeps the minutes it had" for zone in sorted(waiting)]
    placed = {step.zone_id for _, steps in copies for step in steps}
    words += [
        f"Zone {item.zone} needs water and is in no program"
        for item in plan.zones
        if item.zone.pk not in placed and needs[item.zone.pk].run_time_min_per_week > 0
    ]
    told = f"Programs kept from {own.kept_from}, with new minutes"
    if typed:
        told += f"; {typed} step{'s' if typed > 1 else ''} keep{'' if typed > 1 else 's'} the minutes that were typed"
    return copies, [told, *words]


def _not_permitted(program: Program, site: Site) -> list[str]:
    """What the site's permission, which may have changed since, has against a kept program."""
    if not program.enabled or site.permitted_days != Site.PermittedDays.WEEKDAYS:
        return []
    weekdays = program.weekdays
    if program.day_rule == Program.DayRule.INTERVAL and program.every_n_days % 7 == 0 and program.counted_from:
        weekdays = [program.counted_from.weekday()]  # whole weeks keep to their weekday
    elif program.day_rule != Program.DayRule.WEEKDAYS:
        return [f"{program.name}: the site permits watering on named weekdays only"]
    wrong = forbidden_weekdays(site, program.starts_at, weekdays)
    days = ", ".join(WEEKDAYS[day] for day in wrong)
    return [f"{program.name}: the site permits no watering that starts on {days}"] if wrong else []


def litres_of_rows(rows: Rows, plan: SitePlan) -> float | None:
    """Water of a week over the zones whose flow is known; None where none is."""
    flows = {item.zone.pk: litres_per_minute(item) for item in plan.zones}
    known = [
        step.run_time_min * starts_per_week(program, plan.site) * flow
        for program, steps in rows
        for step in steps
        if step.enabled and (flow := flows.get(step.zone_id)) is not None
    ]
    return sum(known) if known else None


def wired(step: ProgramStep, program: Program) -> bool:
    return step.zone.valve is not None and step.zone.valve.controller_id == program.controller_id


def _copy(row: Any) -> Any:
    """The same row as a new one, not saved."""
    fields = {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields}
    fields.pop(row._meta.pk.attname)
    return type(row)(**fields)
