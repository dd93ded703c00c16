"""What came up, in words a person reads: on the page of a proposal and in the list of proposals."""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import QuerySet

from jobs.models import Replan, Visit
from sites.core import writing
from sites.models import Site, User
from sites.models.rows import Row

Upset = Replan.Upset


@dataclass(frozen=True)
class Story:
    """`what` happened, `why` as it was typed (may be empty), and the `days` that were looked at."""

    replan: Replan
    what: str
    why: str
    days: str


def stories_of(replans: Sequence[Replan]) -> list[Story]:
    """In the same order, with three queries at most."""
    people = _by_id(User.objects.all(), replans, "technician")
    sites = _by_id(Site.objects.all(), replans, "site")
    visits = _by_id(Visit.objects.select_related("site"), replans, "visit")
    found = []
    for row in replans:
        detail = row.detail
        if row.upset == Upset.AWAY:
            what = _away(row, people.get(detail.get("technician")))
        elif row.upset == Upset.FROST:
            what = _frost(row)
        elif row.upset == Upset.CALL_OUT:
            what = _call_out(row, sites.get(detail.get("site")))
        else:
            what = _cancelled(row, visits.get(detail.get("visit")))
        why = detail.get("reason") or detail.get("instructions") or ""
        found.append(Story(row, what, why, days_words(row.first_day, row.last_day)))
    return found


def _by_id(rows: QuerySet[Row], replans: Iterable[Replan], name: str) -> dict[int, Row]:
    return rows.in_bulk([row.detail[name] for row in replans if row.detail.get(name)])


def day_words(day: dt.date, *, year: bool = True) -> str:
    return writing.weekday_date(day) if year else writing.weekday_day(day)


def days_words(first: dt.date, last: dt.date) -> str:
    """From the first to the last day; the year stands once when it is the same."""
    if first == last:
        return day_words(first)
    return f"{day_words(first, year=first.year != last.year)} – {day_words(last)}"


def _date(row: Replan, name: str) -> dt.date:
    return dt.date.fromisoformat(row.detail[name])


def _away(row: Replan, who: User | None) -> str:
    span = days_words(_date(row, "first_day"), _date(row, "last_day"))
    return f"{who or 'A technician no longer listed'} is away, {span}"


def _frost(row: Replan) -> str:
    if "due_on" not in row.detail:
        return "Every winterization earlier"
    return f"Every winterization of {row.detail['season_year']} by {day_words(_date(row, 'due_on'))}"


def _call_out(row: Replan, site: Site | None) -> str:
    begin_by = row.detail.get("begin_by")
    wish = f"begin by {dt.time.fromisoformat(begin_by):%H:%M}, " if begin_by else ""
    minutes = row.detail["service_min"]
    return f"{site or 'A site no longer listed'}: {minutes} min on site, {wish}{day_words(row.first_day)}"


def _cancelled(row: Replan, visit: Visit | None) -> str:
    if visit is None:
        return "A visit no longer listed is cancelled"
    # When it stood and with whom: the visit itself has forgotten that once it is cancelled.
    was = next((line["before"] for line in row.proposal["moves"] if line["gone"]), day_words(row.first_day))
    return f"{visit.site}, {visit.get_kind_display()}, {was} is cancelled"
