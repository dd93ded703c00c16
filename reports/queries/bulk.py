"""Which visits or sites a bulk job prints, and how far the jobs are."""

import datetime as dt
from dataclasses import dataclass

from django.db.models import Count, Q, QuerySet

from jobs.models import Visit
from reports.models import BulkJob, BulkPart
from sites.models import Site

NO_PROGRESS_S = 90


def visits_to_print(
    *, completed: bool, season_year: int, kind: str, first_day: dt.date | None, last_day: dt.date | None
) -> list[int]:
    """Ids in the order they are driven: by day, technician and place in the route; unplanned ones last."""
    if completed:
        rows = Visit.objects.filter(state=Visit.State.FINISHED)
    else:
        rows = Visit.objects.to_do()
    rows = rows.filter(season_year=season_year)
    if kind:
        rows = rows.filter(kind=kind)
    if first_day:
        rows = rows.filter(planned_on__gte=first_day)
    if last_day:
        rows = rows.filter(planned_on__lte=last_day)
    ordered = rows.order_by("planned_on", "technician", "position", "site__name", "pk")
    ids = list(ordered.values_list("pk", "planned_on"))
    return [pk for pk, day in ids if day] + [pk for pk, day in ids if not day]


def sites_to_report() -> QuerySet[Site]:
    return Site.objects.current().select_related("client").order_by("name", "pk")


def can_be_mailed() -> Q:
    """Of a site: its client has an address and wants the report by mail."""
    return Q(client__wants_season_report_by_email=True) & ~Q(client__email="")


@dataclass(frozen=True)
class Progress:
    """How far a job is. `stuck` where nothing has moved for a while: no worker is at it."""

    job: BulkJob
    done: int
    parts_done: int
    parts: int
    stuck: bool

    @property
    def under_way(self) -> bool:
        return self.job.state in (BulkJob.State.WAITING, BulkJob.State.RUNNING)

    @property
    def may_go_on(self) -> bool:
        return self.stuck or self.job.state in (BulkJob.State.CANCELLED, BulkJob.State.FAILED)


def progress_of(job: BulkJob, now: dt.datetime) -> Progress:
    counted = job.parts.aggregate(parts=Count("pk"), done=Count("pk", filter=Q(state=BulkPart.State.DONE)))
    rows = [len(ids) for ids in job.parts.filter(state=BulkPart.State.DONE).values_list("row_ids", flat=True)]
    moved = job.parts.exclude(claimed_at=None).order_by("-claimed_at").values_list("claimed_at", flat=True).first()
    quiet_s = (now - max(filter(None, (moved, job.created_at)))).total_seconds()
    under_way = job.state in (BulkJob.State.WAITING, BulkJob.State.RUNNING)
    return Progress(job, sum(rows), counted["done"], counted["parts"], under_way and quiet_s > NO_PROGRESS_S)
