"""The night a program waters in: the day it starts at the controller, and whether it is done by the window's end."""

import datetime as dt
import math
from collections.abc import Iterable

from django.db.models import Prefetch

from scheduling.core.water.clock import DAY_MIN
from scheduling.core.water.interleave import DayRun, interleave
from scheduling.core.water.week import ThisWeek
from scheduling.models import Program, ProgramStep, SeasonSchedule
from scheduling.queries.calendar import ONE_DAY, runs_on
from scheduling.queries.programs import GAP_MIN, starts_the_evening_before
from sites.core import writing
from sites.models import Site

FEW_MIN = 5  # past the window's end by rounding to whole minutes; the week's sequence tells them


def lasts_min(steps: Iterable[ProgramStep]) -> int:
    """Minutes from a start to the last valve shut, soaks included; steps that are off left aside."""
    runs = [
        DayRun(str(step.pk), step.cycles, math.ceil(step.run_time_min / step.cycles), math.ceil(step.soak_min))
        for step in steps
        if step.enabled
    ]
    return math.ceil(interleave(runs, GAP_MIN).elapsed_min)


def days_before(programs: Iterable[Program], site: Site, week: ThisWeek) -> int:
    """Days from a start at the controller to the morning that the week's advice counts it for: 0 or 1.

    The first of a zone's programs tells: by its days where they are the advice's, else by its start in a window over
    midnight.
    """
    own = next(iter(programs), None)
    if own is None:
        return 0
    same = all(runs_on(own, site, date) for date in week.dates)
    before = all(runs_on(own, site, date - ONE_DAY) for date in week.dates)
    if same != before:
        return int(before)
    minutes = map(_minute, (own.starts_at, site.watering_window_start, site.watering_window_end))
    return int(starts_the_evening_before(*minutes))


def past_the_window(schedule: SeasonSchedule) -> tuple[str, ...]:
    """In words, the programs that start inside the site's watering window and are not done when it closes."""
    site = schedule.site
    opens, closes = _minute(site.watering_window_start), _minute(site.watering_window_end)
    window_min = (closes - opens) % DAY_MIN or DAY_MIN
    words = []
    programs = schedule.programs.filter(enabled=True).select_related("controller")
    for program in programs.prefetch_related(Prefetch("steps", ProgramStep.objects.order_by("position", "pk"))):
        lasts = lasts_min(program.steps.all())
        for start in program.start_times:
            after_min = (_minute(start) - opens) % DAY_MIN
            if after_min < window_min < after_min + lasts - FEW_MIN:
                words.append(
                    f"{program.controller}, {program.name}: from {writing.clock(start)} it waters for {lasts} min; "
                    f"the watering window closes {after_min + lasts - window_min} min before it is done."
                )
    return tuple(words)


def _minute(clock: dt.time) -> int:
    return clock.hour * 60 + clock.minute
