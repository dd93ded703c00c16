"""Faults that change what flows, told to the watering app."""

import datetime as dt
from collections import defaultdict
from collections.abc import Collection
from zoneinfo import ZoneInfo

from django.db.models import Q
from django.utils import timezone

from jobs.models import Fault
from jobs.queries.places import place_of
from scheduling.queries.from_the_field import WaterFault
from sites.models import Zone

Kind = Fault.Kind
# A valve that does not open, or whose coil the controller cannot work: nothing flows. The others of a valve let less
# through, nobody knows how much.
STOPS = {Kind.COIL_OPEN, Kind.COIL_SHORT, Kind.VALVE_STUCK_SHUT}
ADDS = {Kind.VALVE_WEEPS, Kind.VALVE_STUCK_OPEN, Kind.PIPE_LEAK}
A_DAY = dt.timedelta(days=1)


def water_faults(site_ids: Collection[int], first: dt.date, until: dt.date) -> list[WaterFault]:
    """From the day after a fault was found to the day before its repair: those two days count as sound.

    What was dismissed was none. A fault that stops water counts only where a valve or a zone is named.
    """
    rows = (
        Fault.objects.filter(site__in=site_ids, kind__in=STOPS | ADDS)
        .exclude(state=Fault.State.DISMISSED)
        .filter(Q(repaired_at=None) | Q(repaired_at__date__gte=first - A_DAY), found_at__date__lte=until + A_DAY)
        .select_related("site", "valve__controller", "zone", "controller", "supply")
        .order_by("found_at", "pk")
    )
    faults = list(rows)
    behind = _zones_behind({fault.site_id for fault in faults})
    found = []
    for fault in faults:
        zone = ZoneInfo(fault.site.time_zone)
        begins = timezone.localdate(fault.found_at, zone) + A_DAY
        ends = None if fault.repaired_at is None else timezone.localdate(fault.repaired_at, zone) - A_DAY
        stops = fault.kind in STOPS
        zones = behind.of(fault) if stops else ()
        if (stops and not zones) or begins > until or (ends is not None and ends < max(begins, first)):
            continue
        found.append(
            WaterFault(
                site_id=fault.site_id,
                fault_id=fault.pk,
                kind=fault.kind,
                what=fault.get_kind_display(),
                place=place_of(fault),
                zone_ids=zones,
                first=begins,
                last=ends,
                stops=stops,
            )
        )
    return found


class _ZonesBehind:
    """Which zones get nothing when a valve does not open: its own; behind a master valve, all of its controller."""

    def __init__(self) -> None:
        self.by_valve: dict[int, list[int]] = defaultdict(list)
        self.by_controller: dict[int, list[int]] = defaultdict(list)

    def of(self, fault: Fault) -> tuple[int, ...]:
        if fault.zone_id is not None:
            return (fault.zone_id,)
        if fault.valve is None:
            return ()
        master = fault.valve.is_master
        return tuple(self.by_controller[fault.valve.controller_id] if master else self.by_valve[fault.valve.pk])


def _zones_behind(site_ids: Collection[int]) -> _ZonesBehind:
    found = _ZonesBehind()
    rows = Zone.objects.filter(site__in=site_ids, valve__isnull=False).order_by("number")
    for pk, valve, controller in rows.values_list("pk", "valve_id", "valve__controller_id"):
        found.by_valve[valve].append(pk)
        found.by_controller[controller].append(pk)
    return found
