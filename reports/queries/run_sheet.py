"""A technician's day as the dataclass that the run sheet prints."""

import datetime as dt

from jobs.core.cautions import SHORT_CAUTIONS
from jobs.core.whole_minutes import whole_minutes
from jobs.models import DayRoute, Visit, VisitKind
from jobs.outside.roads import source_words
from jobs.queries import field
from jobs.queries.field import today_stops
from reports.documents.run_sheet import RunSheet, Stop
from reports.queries.letterhead import address_lines, amount, clock, letterhead
from sites.core import writing
from sites.models import Firm, User


def run_sheet_data(technician: User, date: dt.date) -> RunSheet:
    firm = Firm.current()
    today = today_stops(technician, date)
    stops = [stop for stop in (today.next_stop, *today.later, *today.done) if stop is not None]
    stops.sort(key=lambda stop: (stop.visit.position is None, stop.visit.position or 0))
    route = DayRoute.objects.filter(technician=technician, date=date).first()
    return RunSheet(
        firm=letterhead(firm),
        reference=f"{technician}, {date.isoformat()}",
        technician=str(technician),
        date=writing.full_day(date),
        starts=f"{technician.technician_profile.day_starts_at:%H:%M}"
        if hasattr(technician, "technician_profile")
        else "",
        ends=f"{route.back_at:%H:%M}" if route and route.back_at else "",
        driving=_driving(route, firm) if route else "",
        stops=tuple(_stop(stop.visit, stop) for stop in stops),
        notes=f"Travel times: {source_words(route.travel_source)}."
        if route
        else "The route has not been planned yet.",
        warnings=tuple(route.warnings) if route else (),
    )


def _driving(route: DayRoute, firm: Firm) -> str:
    return f"{whole_minutes(60 * route.drive_min)} min, {amount(route.drive_km, 'distance', firm)}"


def _stop(visit: Visit, counts: field.Stop) -> Stop:
    work = [f"{visit.service_min} min planned"]
    if counts.measures_valves:
        work.append(f"{counts.valves_total} valves to measure")
    if counts.open_faults:
        work.append(f"{counts.open_faults} open fault" + ("s" if counts.open_faults > 1 else ""))
    if visit.instructions:
        work.append(visit.instructions)
    return Stop(
        arrive=clock(visit.arrives_at, visit.site),
        leave=clock(visit.leaves_at, visit.site),
        site_name=visit.site.name,
        client_name=visit.site.client.name,
        phone=visit.site.client.phone,
        address_lines=address_lines(visit.site),
        access_notes=visit.site.access_notes,
        visit=visit.get_kind_display(),
        work=tuple(work),
        caution=SHORT_CAUTIONS[VisitKind(visit.kind)],
    )
