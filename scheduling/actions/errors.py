class ScheduleError(Exception):
    """A schedule cannot be changed that way; the message is for the person who tried."""
