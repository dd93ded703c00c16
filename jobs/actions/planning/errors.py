from django.core.exceptions import ValidationError


class PlannerBusy(ValidationError):
    """Another planner is at work; two would plan the same days."""


class PlanOutdated(ValidationError):
    """Visits, people or sites changed while the plan was computed; nothing of it was stored."""


class Doubtful(ValidationError):
    """Something speaks against the place, told by field; it is stored once a person wants it knowingly."""
