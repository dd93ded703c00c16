"""What the office sees of one visit's planning."""

from jobs.models import Visit
from sites.models import AuditEntry

HISTORY_ROWS = 20


def visit_history(visit: Visit) -> list[AuditEntry]:
    """What was done with this visit, the latest first; reasons are in `detail`."""
    rows = AuditEntry.objects.filter(subject_type="jobs.visit", subject_id=str(visit.pk))
    return list(rows.select_related("by")[:HISTORY_ROWS])


def cancel_reason(history: list[AuditEntry]) -> str:
    return next((entry.detail.get("reason", "") for entry in history if entry.verb == "visit cancelled"), "")
