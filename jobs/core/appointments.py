"""The hours a client is told for a visit."""

WINDOW_MIN = 120  # common practice, no source: hours a client is willing to wait in
EARLIER_MIN = 30
STEP_MIN = 30


def told_hours(start_min: int) -> tuple[int, int]:
    """(from, to) in minutes from midnight, on half hours, around a planned start: two hours, the start early in them.

    The work is to BEGIN within these hours. More room lies behind the planned start than before it, because days
    run late more often than early.
    """
    latest = 24 * 60 - STEP_MIN - WINDOW_MIN
    begins = max(0, (start_min - EARLIER_MIN) // STEP_MIN * STEP_MIN)
    begins = min(begins, latest)
    return begins, begins + WINDOW_MIN
