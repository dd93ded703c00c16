"""What a visit makes of its site's water: a startup lets it in and turns it on, a winterization shuts it off."""

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import timezone

from jobs.models import ChecklistAnswer, ChecklistItem, Visit, VisitKind
from sites.actions.site_state import change_state
from sites.models import StateChange, User

# Kind of visit -> the state when it is finished, and the step without which it did not come about.
AFTER: dict[str, tuple[str, str]] = {
    VisitKind.STARTUP: ("on", "slow_fill"),
    VisitKind.WINTERISATION: ("winter", "water_shut_off"),
}
BATCH = 500


def record_under_way(*, visit: Visit, by: User | None) -> None:
    """A startup that was begun fills the site; until it is finished nothing is watered."""
    if visit.kind == VisitKind.STARTUP:
        _record(visit, StateChange.State.FILLING, visit.started_at, by)


def record_finished(*, visit: Visit, by: User | None) -> None:
    """The state that a finished visit leaves, from its last day at the site.

    A visit that was closed without the step that does it (nobody could get in) leaves the water as it was: a site
    taken for shut off would get no word of the frost.
    """
    record_under_way(visit=visit, by=by)  # its start may have been corrected
    state, step = AFTER.get(visit.kind, ("", ""))
    asked = ChecklistItem.objects.filter(template=visit.checklist_id, key=step).exists()
    if state and (not asked or ChecklistAnswer.objects.filter(visit=visit, item__key=step, done=True).exists()):
        _record(visit, state, visit.finished_at, by)


def _record(visit: Visit, state: str, moment: dt.datetime | None, by: User | None) -> None:
    """From the day of `moment` at the site; today where the visit keeps none."""
    on = timezone.localdate(moment, timezone=ZoneInfo(visit.site.time_zone))
    reason = f"{visit.get_kind_display()} visit"
    change_state(site=visit.site, state=state, on=on, reason=reason, by=by, visit_uuid=visit.uuid)


def record_past_states(
    visits: Any = Visit,
    changes: Any = StateChange,
    items: Any = ChecklistItem,
    answers: Any = ChecklistAnswer,
) -> None:
    """The states that finished visits left, for those that came before states were kept. Safe to repeat.

    A migration passes its historical models, whose fields no type knows.
    """
    for kind, (state, step) in AFTER.items():
        asked = set(items.objects.filter(key=step).values_list("template_id", flat=True))
        rows = answers.objects.filter(item__key=step, done=True, visit__kind=kind)
        done = set(rows.values_list("visit_id", flat=True))
        finished = visits.objects.filter(kind=kind, state="finished", finished_at__isnull=False)
        made = [
            changes(
                site_id=visit.site_id,
                state=state,
                changed_on=timezone.localdate(visit.finished_at, timezone=ZoneInfo(visit.site.time_zone)),
                reason=f"{VisitKind(kind).label} visit",
                visit_uuid=visit.uuid,
                recorded_by_id=visit.technician_id,
            )
            for visit in finished.select_related("site").order_by("finished_at").iterator(chunk_size=BATCH)
            if visit.checklist_id not in asked or visit.pk in done
        ]
        changes.objects.bulk_create(made, batch_size=BATCH, ignore_conflicts=True)
