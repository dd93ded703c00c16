"""Checks spread through their window, area by area: near sites get near dates, and no week gets them all."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import date

from jobs.core.routing.season_terms import PlannableVisit, TechnicianDay
from jobs.core.routing.travel import Point, TravelMatrix


def spread_out(
    visits: Sequence[PlannableVisit],
    days: Sequence[TechnicianDay],
    travel: TravelMatrix,
    kinds: Collection[str],
) -> list[PlannableVisit]:
    """The visits, those of `kinds` that are free to go anywhere with a date each wants (`wanted_on`).

    Visits of a kind that may begin on one date share the working dates up to their first deadline in proportion to
    their minutes, in the order of a drive from the first starting place to the nearest site not seen yet. Visits
    that have a day, held or not, keep to that and are not counted.
    """
    groups: dict[tuple[str, date], list[PlannableVisit]] = defaultdict(list)
    for visit in visits:
        if visit.kind in kinds and visit.now is None and not visit.held:
            groups[visit.kind, visit.window_opens].append(visit)
    wanted: dict[str, date] = {}
    for (_, opens), group in groups.items():
        due = min(visit.window_due for visit in group)
        dates = sorted({day.date for day in days if opens <= day.date <= due})
        if dates:
            wanted |= _shared_out(_nearest_next(group, days[0].shift.start_point, travel), dates)
    return [replace(visit, wanted_on=wanted.get(visit.key)) for visit in visits]


def _nearest_next(visits: list[PlannableVisit], start: Point, travel: TravelMatrix) -> list[PlannableVisit]:
    here, left, order = travel.position[start], list(visits), []
    while left:
        row = travel.seconds[here]
        nearest = min(left, key=lambda visit: (row[travel.position[visit.point]], visit.key))
        left.remove(nearest)
        order.append(nearest)
        here = travel.position[nearest.point]
    return order


def _shared_out(order: Sequence[PlannableVisit], dates: Sequence[date]) -> dict[str, date]:
    """Each visit's date: the middle of its minutes on the way through all minutes."""
    minutes = [max(1, visit.service_min) for visit in order]
    wanted, before = {}, 0.0
    for visit, service_min in zip(order, minutes, strict=True):
        share = (before + service_min / 2) / sum(minutes)
        wanted[visit.key] = dates[int(share * len(dates))]
        before += service_min
    return wanted
