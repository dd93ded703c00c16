"""What the office sees of one visit's planning."""

from jobs.models import SeasonWindow, Visit
from sites.models import AuditEntry

HISTORY_ROWS = 20


def visit_history(visit: Visit) -> list[AuditEntry]:
    """What was done with this visit, the latest first; reasons are in `detail`."""
    rows = AuditEntry.objects.filter(subject_type="jobs.visit", subject_id=str(visit.pk))
    return list(rows.select_related("by")[:HISTORY_ROWS])


def cancel_reason(history: list[AuditEntry]) -> str:
    return next((entry.detail.get("reason", "") for entry in history if entry.verb == "visit cancelled"), "")


def has_window(visit: Visit) -> bool:
    """Whether the visit's season has a window for its kind that it could follow."""
    return SeasonWindow.objects.filter(season_year=visit.season_year, kind=visit.kind).exists()
