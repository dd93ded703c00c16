"""A technician's day as a route file and as calendar entries."""

import datetime as dt
import zoneinfo

from django.conf import settings
from django.urls import reverse

from jobs.core.calendar import Entry
from jobs.core.route_files import RouteFile, RouteStop
from jobs.models import Visit
from jobs.outside.roads import path_through
from jobs.queries.days import Day
from jobs.queries.planning import point_of
from sites.core import writing
from sites.models import Firm, Site, User

PAST_DAYS, AHEAD_DAYS = 30, 400


def route_file(day: Day, made_at: dt.datetime) -> RouteFile:
    """The day's stops from start to end, with the line along roads where there is a road server."""
    zone = zoneinfo.ZoneInfo(Firm.current().time_zone)
    visits = [*day.done, *day.to_do]
    start, end = day.full_shift.start_point, day.full_shift.end_point
    stops = [
        RouteStop("Start", "", start, None),
        *(
            RouteStop(
                str(visit.site),
                f"{visit.get_kind_display()}, {_address(visit.site)}",
                point_of(visit.site),
                _begins(visit, zone),
            )
            for visit in visits
        ),
        RouteStop("End", "", end, None),
    ]
    path = path_through([stop.point for stop in stops])
    name = f"{day.technician}, {writing.day(day.date)}"
    return RouteFile(name, made_at, stops, path.line, path.estimated)


def feed_entries(technician: User, today: dt.date) -> list[Entry]:
    """The technician's visits as calendar entries, the last month and what lies ahead.

    Calendars are kept on other firms' servers: access notes, telephone numbers and names of persons stay out.
    """
    zone = zoneinfo.ZoneInfo(Firm.current().time_zone)
    span = (today - dt.timedelta(days=PAST_DAYS), today + dt.timedelta(days=AHEAD_DAYS))
    visits = Visit.objects.visible_to(technician).filter(technician=technician, planned_on__range=span)
    rows = visits.exclude(state=Visit.State.OPEN).select_related("site").order_by("planned_on", "position", "pk")
    return [_entry(visit, zone) for visit in rows]


def _entry(visit: Visit, zone: zoneinfo.ZoneInfo) -> Entry:
    begins, (_, on) = _begins(visit, zone), visit.placed
    ends = begins + dt.timedelta(minutes=visit.service_min) if begins else on + dt.timedelta(days=1)
    host = settings.DEFAULT_FROM_EMAIL.rpartition("@")[2].strip("> ") or "localhost"
    kind = visit.get_kind_display()
    return Entry(
        uid=f"visit-{visit.uuid}@{host}",
        sequence=0,
        starts=begins or on,
        ends=ends,
        summary=f"{kind[:1].upper()}{kind[1:]}: {visit.site}",
        location=_address(visit.site),
        description=f"{visit.service_min} min on site. {visit.get_state_display().capitalize()}.",
        latitude=visit.site.latitude,
        longitude=visit.site.longitude,
        url=f"{settings.PUBLIC_URL}{reverse('jobs:visit', args=[visit.pk])}",
    )


def _begins(visit: Visit, zone: zoneinfo.ZoneInfo) -> dt.datetime | None:
    if visit.planned_on is None or visit.arrives_at is None:
        return None
    return dt.datetime.combine(visit.planned_on, visit.arrives_at, tzinfo=zone)


def _address(site: Site) -> str:
    return ", ".join(part for part in (site.address, site.town) if part)
