"""The office's week: whose published schedule is off from what this week needs, by how much water."""

import calendar
import datetime as dt
from dataclasses import dataclass

from django.db.models import Sum

from scheduling.models import SeasonSchedule, WateringPause, ZoneMonth
from sites.models import Site

State = SeasonSchedule.State


@dataclass(frozen=True)
class SiteWeek:
    """One site's week: litres as published and as needed. `percent` is None where nothing is published to run."""

    site_id: int
    name: str
    town: str
    published_id: int | None
    revision: int | None
    draft_id: int
    computed_on: dt.date
    edited: bool
    for_next_visit: bool
    published_l: float
    needed_l: float
    paused_until: dt.date | None

    @property
    def difference_l(self) -> float:
        """Positive: the site waters more than it needs."""
        return self.published_l - self.needed_l

    @property
    def size_l(self) -> float:
        return abs(self.difference_l)

    @property
    def percent(self) -> float | None:
        return 100.0 * self.difference_l / self.needed_l if self.needed_l else None

    @property
    def direction(self) -> str:
        return "over" if self.difference_l > 0 else "under"

    def off_by(self, percent: float) -> bool:
        """Whether the difference is beyond the threshold; any water counts where none is needed."""
        if self.percent is None:
            return self.difference_l > 0
        return abs(self.percent) > percent


@dataclass(frozen=True)
class OfficeWeek:
    """All current sites: those that can be compared, and how many cannot, with the reason."""

    rows: tuple[SiteWeek, ...]
    compared: int
    without_published: int
    without_draft: int
    without_litres: int


def office_week(*, today: dt.date, threshold_percent: float, direction: str = "all") -> OfficeWeek:
    """Sites off by more than the threshold, the most litres first. The number of queries is constant."""
    drafts = {row["site_id"]: row for row in _schedules(State.DRAFT)}
    published = {row["site_id"]: row for row in _schedules(State.PUBLISHED)}
    by_table = _litres_by_table(today)
    pauses = dict(
        WateringPause.objects.filter(starts_on__lte=today, ends_on__gte=today)
        .order_by("ends_on")
        .values_list("site_id", "ends_on")
    )
    rows, no_published, no_draft, no_litres = [], 0, 0, 0
    for site_id, name, town in Site.objects.current().values_list("pk", "name", "town"):
        draft, now = drafts.get(site_id), published.get(site_id)
        no_published += now is None
        no_draft += draft is None
        if draft is None or now is None:
            continue
        litres = _published_litres(now, by_table, today)
        if litres is None or draft["litres_per_week"] is None:
            no_litres += 1
            continue
        rows.append(
            SiteWeek(
                site_id=site_id,
                name=name,
                town=town,
                published_id=now["pk"],
                revision=now["revision"],
                draft_id=draft["pk"],
                computed_on=draft["week_starts_on"],
                edited=draft["edited_at"] is not None,
                for_next_visit=draft["for_next_visit_at"] is not None,
                published_l=litres,
                needed_l=draft["litres_per_week"],
                paused_until=pauses.get(site_id),
            )
        )
    off = [row for row in rows if row.off_by(threshold_percent) and direction in ("all", row.direction)]
    off.sort(key=lambda row: (-abs(row.difference_l), row.name, row.site_id))
    return OfficeWeek(tuple(off), len(rows), no_published, no_draft, no_litres)


def _schedules(state: str):
    return SeasonSchedule.objects.filter(state=state, site__archived_at=None).values(
        "site_id",
        "pk",
        "revision",
        "season_year",
        "month",
        "week_starts_on",
        "edited_at",
        "litres_per_week",
        "for_next_visit_at",
    )


def _litres_by_table(today: dt.date) -> dict[int, float]:
    """Litres of a week of this month by each published schedule's table of months."""
    weeks = calendar.monthrange(today.year, today.month)[1] / 7.0
    sums = (
        ZoneMonth.objects.filter(schedule__state=State.PUBLISHED, month=today.month)
        .order_by()
        .values("schedule_id")
        .annotate(litres=Sum("water_l"))
    )
    return {row["schedule_id"]: row["litres"] / weeks for row in sums if row["litres"] is not None}


def _published_litres(now: dict, by_table: dict[int, float], today: dt.date) -> float | None:
    """The programs in the month they were made for, the table of months otherwise, as in the season's use."""
    if (now["season_year"], now["month"]) == (today.year, today.month):
        return now["litres_per_week"]
    return by_table.get(now["pk"])
