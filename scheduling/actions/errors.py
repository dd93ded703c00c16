class ScheduleError(Exception):
    """A schedule cannot be changed that way; the message is for the person who tried."""


class SiteIsOff(ScheduleError):
    """The site's water is off on that day."""


class AskFirst(ScheduleError):
    """Something speaks against it: asked first, a person may still do it."""
