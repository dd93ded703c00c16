"""Rows and dates the planning tests share: a Monday ahead, sites around the yard, visits of one kind."""

import datetime as dt

from jobs.models import PlanRun, Visit
from jobs.queries.planning import firm_today
from tests import factories

# Around the yard of the test firm, a few kilometres each way.
PLACES = ((47.61, -122.33), (47.64, -122.30), (47.58, -122.29), (47.66, -122.35), (47.59, -122.37), (47.62, -122.26))


def monday_ahead() -> dt.date:
    """The Monday of the week after next: never today, always ahead."""
    today = firm_today()
    return today + dt.timedelta(days=14 - today.weekday())


def plan_request(by, **changes) -> PlanRun:
    """What a season plan is asked for in most tests: the startups of the two weeks from that Monday."""
    monday = monday_ahead()
    wanted = {
        "season_year": monday.year,
        "kinds": ["startup"],
        "first_day": monday,
        "last_day": monday + dt.timedelta(days=11),
        "rounds": 3,
        "asked_by": by,
    }
    return PlanRun(**wanted | changes)


def make_visits(count: int, **changes) -> list[Visit]:
    """Open visits at so many different sites, in a window of two weeks from that Monday."""
    monday = monday_ahead()
    fields = {
        "season_year": monday.year,
        "opens_on": monday,
        "due_on": monday + dt.timedelta(days=11),
        "service_min": 60,
        **changes,
    }
    rows = []
    for n in range(count):
        latitude, longitude = PLACES[n % len(PLACES)]
        shift = 0.003 * (n // len(PLACES))
        site = factories.SiteFactory(latitude=latitude + shift, longitude=longitude)
        rows.append(factories.VisitFactory(site=site, **fields))
    return rows


def planned(visit: Visit, technician, date: dt.date, **changes) -> Visit:
    """The visit put on a day without any planner."""
    fields = {"state": "planned", "technician": technician, "planned_on": date, **changes}
    Visit.objects.filter(pk=visit.pk).update(**fields)
    visit.refresh_from_db()
    return visit
