"""The hours a client is told for a visit."""

from jobs.core.routing.day import DAY_MIN

WINDOW_MIN = 120  # common practice, no source: hours a client is willing to wait in
EARLIER_MIN = 30
STEP_MIN = 30


def told_hours(
    start_min: int, *, service_min: int = 0, opens_min: int = 0, closes_min: int = DAY_MIN
) -> tuple[int, int]:
    """(from, to) in minutes from midnight, on half hours, around a planned start: two hours, the start early in them.

    The work is to BEGIN within these hours. More room lies behind the planned start than before it, because days
    run late more often than early. Nobody is told an hour before `opens_min`, nor one that leaves no time for the
    service before `closes_min`: the hours are put off, brought forward or shortened. They always hold the planned
    start, also one outside these bounds, and are never shorter than half an hour.
    """
    earliest = min(_step_up(opens_min, start_min), start_min)
    latest = max(min(closes_min - service_min, DAY_MIN - STEP_MIN), start_min)
    begins = max(earliest, (start_min - EARLIER_MIN) // STEP_MIN * STEP_MIN)
    until = _step_down(min(begins + WINDOW_MIN, latest), start_min)
    begins = max(earliest, min(begins, _step_up(until - WINDOW_MIN, start_min)))
    if until - begins >= STEP_MIN:
        return begins, until
    # A start so late that no half hour of the day is left behind it.
    begins = min(begins, DAY_MIN - 1 - STEP_MIN)
    return begins, begins + STEP_MIN


def usual_hours(site: tuple[int, int] | None, shift: tuple[int, int] | None) -> tuple[int, int]:
    """(from, to) in which a visit can be made: the site is open and somebody is at work.

    Where the two never meet the site's hours count: nobody can be let in at others. None: unknown, any time.
    """
    site, shift = site or (0, DAY_MIN), shift or (0, DAY_MIN)
    opens, closes = max(site[0], shift[0]), min(site[1], shift[1])
    return (opens, closes) if opens < closes else site


def within_usual(told: tuple[int, int], usual: tuple[int, int], service_min: int) -> tuple[int, int]:
    """Hours that were told, `to` for the end of the service, kept to the usual ones as far as the work still fits.

    Hours wholly outside them were promised by somebody who knew: they stay as they were told.
    """
    opens, closes = max(told[0], usual[0]), min(told[1], usual[1])
    if opens + service_min > told[1]:
        return told
    return opens, closes if closes - opens >= service_min else told[1]


def _step_up(minute: int, start_min: int) -> int:
    """On the next half hour, unless the planned start lies before that."""
    rounded = -(-minute // STEP_MIN) * STEP_MIN
    return rounded if rounded <= start_min else minute


def _step_down(minute: int, start_min: int) -> int:
    """On the half hour before, unless the planned start lies after that."""
    rounded = minute // STEP_MIN * STEP_MIN
    return rounded if rounded >= start_min else minute
