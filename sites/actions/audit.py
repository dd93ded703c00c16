from typing import Any

from django.db.models import Model

from sites.models import AuditEntry, User


def record(*, by: User | None, verb: str, subject: Model, **detail: Any) -> AuditEntry:
    """Write who did what to `subject`. Call inside the transaction of the change itself.

    `by` is None for scheduled work. `detail` must be JSON-serialisable.
    """
    return AuditEntry.objects.create(
        by=by,
        verb=verb,
        subject_type=subject._meta.label_lower,
        subject_id=str(subject.pk),
        detail=detail,
    )
