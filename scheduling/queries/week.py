"""The office's week: whose published schedule gives water the soil cannot take, or lets it dry out too far.

What the draft was computed with says so, by the soil of its morning. Where that is not known, a week of the published
schedule stands against a week of the draft.
"""

import calendar
import datetime as dt
from collections import Counter
from dataclasses import dataclass
from typing import NamedTuple

from django.db.models import Count, FilteredRelation, Min, Q, QuerySet

from scheduling.models import SeasonSchedule, WateringPause
from sites.core.site_state import WORDS
from sites.models import Controller, Site
from sites.queries.site_state import state_lines

State = SeasonSchedule.State


@dataclass(frozen=True)
class SiteWeek:
    """One site's week in litres: published, of that too much, and lacking. One zone may have too much, another lack.

    `percent` is of what is needed, None where nothing is.
    """

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
    too_much_l: float
    too_little_l: float
    paused_until: dt.date | None
    threshold_percent: float

    @property
    def needed_l(self) -> float:
        """What the schedule would put down, were it right."""
        return max(self.published_l - self.too_much_l + self.too_little_l, 0.0)

    @property
    def size_l(self) -> float:
        """The larger of too much and too little."""
        return max(self.too_much_l, self.too_little_l)

    @property
    def percent(self) -> float | None:
        return 100.0 * self.size_l / self.needed_l if self.needed_l else None

    @property
    def directions(self) -> tuple[str, ...]:
        """Which of the two is beyond the threshold, the larger first; any water counts where none is needed."""
        most = self.threshold_percent / 100.0 * self.needed_l
        both = sorted([(self.too_much_l, "over"), (self.too_little_l, "under")], reverse=True)
        return tuple(way for litres, way in both if litres > most)


@dataclass(frozen=True)
class OfficeWeek:
    """All current sites: those that can be compared, and how many cannot, with the reason.

    `idle` is how many of those compared neither run nor need water. `off` tells how many are off, by state: they
    are not compared, whatever is published for them.
    """

    rows: tuple[SiteWeek, ...]
    sites: int
    compared: int
    idle: int
    without_published: int
    without_draft: int
    without_litres: int
    off: tuple[tuple[str, int], ...] = ()

    @property
    def sites_off(self) -> int:
        return sum(count for _, count in self.off)


class Row(NamedTuple):
    """What the comparison reads of each site, its draft and its published schedule; without one, its part is None."""

    pk: int
    name: str
    town: str
    draft_pk: int | None
    draft_litres_per_week: float | None
    draft_week_starts_on: dt.date | None
    draft_edited_at: dt.datetime | None
    draft_for_next_visit_at: dt.datetime | None
    draft_published_week: dict[str, float] | None
    now_pk: int | None
    now_revision: int | None
    now_season_year: int | None
    now_month: int | None
    now_litres_per_week: float | None
    now_litres_by_month: list[float | None] | None


COLUMNS = [name.replace("draft_", "draft__", 1).replace("now_", "now__", 1) for name in Row._fields]


def office_week(*, today: dt.date, threshold_percent: float, direction: str = "all") -> OfficeWeek:
    """Sites off by more than the threshold, the most litres first. Three queries, one row a site."""
    pauses = dict(
        WateringPause.objects.filter(starts_on__lte=today, ends_on__gte=today)
        .order_by("ends_on")
        .values_list("site_id", "ends_on")
    )
    rows, sites, no_published, no_draft, no_litres = [], 0, 0, 0, 0
    lines, off = state_lines(), Counter[str]()
    for row in map(Row._make, _sites().values_list(*COLUMNS)):
        sites += 1
        standing = lines[row.pk].at(today)
        if not standing.is_on:
            off[WORDS[standing.state]] += 1
            continue
        no_published += row.now_pk is None
        no_draft += row.draft_pk is None
        if row.draft_pk is None or row.now_pk is None:
            continue
        litres = row.draft_published_week or _against_draft(row, today)
        if litres is None:
            no_litres += 1
            continue
        rows.append(_site_week(row, litres, pauses.get(row.pk), threshold_percent))
    wanted = {"over", "under"} if direction == "all" else {direction}
    beyond = [row for row in rows if wanted.intersection(row.directions)]
    beyond.sort(key=lambda row: (-row.size_l, row.name, row.site_id))
    idle = sum(row.needed_l == 0 and row.published_l == 0 for row in rows)
    return OfficeWeek(
        tuple(beyond), sites, len(rows), idle, no_published, no_draft, no_litres, tuple(off.most_common())
    )


@dataclass(frozen=True)
class PausedSites:
    """One pause as it was ordered, for one site or many; `site` names the first."""

    starts_on: dt.date
    ends_on: dt.date
    reason: str
    sites: int
    site: str


def paused_sites(today: dt.date) -> list[PausedSites]:
    """Pauses of current sites that go on or are still to come, the soonest end first. One query."""
    rows = (
        WateringPause.objects.filter(ends_on__gte=today, site__in=Site.objects.current())
        .order_by("ends_on", "starts_on", "reason")
        .values_list("starts_on", "ends_on", "reason")
        .annotate(Count("site", distinct=True), Min("site__name"))
    )
    return [PausedSites(*row) for row in rows]


def hand_set_sites() -> int:
    """How many current sites have a controller that no pause reaches: it is set by hand."""
    rows = Controller.objects.filter(set_by_hand=True, site__in=Site.objects.current())
    return rows.aggregate(sites=Count("site", distinct=True))["sites"]


def _sites() -> QuerySet[Site]:
    """Current sites, each with its one draft and its one published schedule."""
    return (
        Site.objects.current()
        .annotate(
            draft=FilteredRelation("schedules", condition=Q(schedules__state=State.DRAFT)),
            now=FilteredRelation("schedules", condition=Q(schedules__state=State.PUBLISHED)),
        )
        .order_by()
    )


def _site_week(
    row: Row, litres: dict[str, float], paused_until: dt.date | None, threshold_percent: float
) -> SiteWeek:
    assert row.draft_pk is not None and row.draft_week_starts_on is not None  # only sites with a draft come here
    return SiteWeek(
        site_id=row.pk,
        name=row.name,
        town=row.town,
        published_id=row.now_pk,
        revision=row.now_revision,
        draft_id=row.draft_pk,
        computed_on=row.draft_week_starts_on,
        edited=row.draft_edited_at is not None,
        for_next_visit=row.draft_for_next_visit_at is not None,
        published_l=litres["published"],
        too_much_l=litres["too_much"],
        too_little_l=litres["too_little"],
        paused_until=paused_until,
        threshold_percent=threshold_percent,
    )


def _against_draft(row: Row, today: dt.date) -> dict[str, float] | None:
    published, needed = _published_litres(row, today), row.draft_litres_per_week
    if published is None or needed is None:
        return None
    too_much = published - needed
    return {"published": published, "too_much": max(too_much, 0.0), "too_little": max(-too_much, 0.0)}


def _published_litres(row: Row, today: dt.date) -> float | None:
    """The programs in the month they were made for, the table of months otherwise, as in the season's use."""
    if (row.now_season_year, row.now_month) == (today.year, today.month):
        return row.now_litres_per_week
    assert row.now_litres_by_month is not None  # only sites with a published schedule come here
    of_month = row.now_litres_by_month[today.month - 1]
    weeks = calendar.monthrange(today.year, today.month)[1] / 7.0
    return None if of_month is None else of_month / weeks
