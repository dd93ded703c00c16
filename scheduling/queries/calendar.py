"""On which dates a site's programs really run: their own rule, the site's odd or even dates, pauses."""

import datetime as dt
from collections.abc import Iterable, Iterator

from scheduling.core.sequence.programs import DayRule, EvenDays, EveryNDays, OddDays, Weekdays
from scheduling.core.water.clock import PARITY_DAYS_PER_WEEK
from scheduling.models import Program, WateringPause
from scheduling.queries.programs import starts_the_evening_before
from sites.models import Site

ONE_DAY = dt.timedelta(days=1)


def dates_from(first: dt.date, until: dt.date) -> Iterator[dt.date]:
    """Both days included; nothing if the last lies before the first."""
    for number in range((until - first).days + 1):
        yield first + number * ONE_DAY


def runs_on(program: Program, site: Site, date: dt.date) -> bool:
    """Whether the program starts on this date, pauses left aside.

    A window over midnight belongs to the date it ends on, and so does the odd or even rule.
    """
    if not program.enabled or not _in_force(program, date) or not day_rule(program).includes(date):
        return False
    if site.permitted_days not in (Site.PermittedDays.ODD, Site.PermittedDays.EVEN):
        return True
    start, opens, closes = program.starts_at, site.watering_window_start, site.watering_window_end
    minutes = (clock.hour * 60 + clock.minute for clock in (start, opens, closes))
    counted = date + ONE_DAY if starts_the_evening_before(*minutes) else date
    return counted.day % 2 == (1 if site.permitted_days == Site.PermittedDays.ODD else 0)


def _in_force(program: Program, date: dt.date) -> bool:
    first, last = program.active_from or dt.date.min, program.active_until or dt.date.max
    return first <= date <= last


def day_rule(program: Program) -> DayRule:
    """The program's own rule in the words of the sequence core."""
    if program.day_rule == Program.DayRule.INTERVAL:
        return EveryNDays(program.every_n_days, program.counted_from or program.schedule.week_starts_on)
    if program.day_rule == Program.DayRule.ODD:
        return OddDays()
    if program.day_rule == Program.DayRule.EVEN:
        return EvenDays()
    return Weekdays(frozenset(program.weekdays))


def starts_on(program: Program, site: Site, date: dt.date) -> int:
    """How many times the program starts on this date, pauses left aside."""
    return len(program.start_times) if runs_on(program, site, date) else 0


def starts_per_week(program: Program, site: Site) -> float:
    """Starts in an average week while the program is in force; 0 for one that is switched off."""
    return starts_while_on(program, site) if program.enabled else 0.0


def starts_while_on(program: Program, site: Site) -> float:
    """The same for a program that is switched off, as if it were on."""
    counted: dict[str, float] = {
        Program.DayRule.WEEKDAYS: float(len(program.weekdays)),
        Program.DayRule.INTERVAL: 7 / program.every_n_days,
    }
    days = counted.get(program.day_rule, PARITY_DAYS_PER_WEEK)
    if site.permitted_days in (Site.PermittedDays.ODD, Site.PermittedDays.EVEN):
        if program.day_rule in (Program.DayRule.WEEKDAYS, Program.DayRule.INTERVAL):
            days *= PARITY_DAYS_PER_WEEK / 7
        elif program.day_rule != site.permitted_days:
            days = 0.0
    return days * len(program.start_times)


def paused_dates(pauses: Iterable[WateringPause], first: dt.date, until: dt.date) -> set[dt.date]:
    """Every date of the span on which watering was paused."""
    return {date for pause in pauses for date in dates_from(max(first, pause.starts_on), min(until, pause.ends_on))}
