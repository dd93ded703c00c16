"""On which dates a site's programs really run: weekdays, odd or even dates, pauses."""

import datetime as dt
from collections.abc import Iterable, Iterator

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
    if date.weekday() not in program.weekdays:
        return False
    if site.permitted_days not in (Site.PermittedDays.ODD, Site.PermittedDays.EVEN):
        return True
    start, opens, closes = program.starts_at, site.watering_window_start, site.watering_window_end
    minutes = (clock.hour * 60 + clock.minute for clock in (start, opens, closes))
    counted = date + ONE_DAY if starts_the_evening_before(*minutes) else date
    return counted.day % 2 == (1 if site.permitted_days == Site.PermittedDays.ODD else 0)


def paused_dates(pauses: Iterable[WateringPause], first: dt.date, until: dt.date) -> set[dt.date]:
    """Every date of the span on which watering was paused."""
    return {date for pause in pauses for date in dates_from(max(first, pause.starts_on), min(until, pause.ends_on))}
