"""How long a visit at a site will take, from its register and its own history."""

from collections import defaultdict
from collections.abc import Iterable

from django.db.models import Count, QuerySet

from jobs.core.routing.service_time import DEFAULT_RATES, PastVisit, ServiceTime, service_time
from jobs.models import Visit, VisitKind
from sites.models import BackflowAssembly, Pump, Site, Zone

RATE_OF = {
    VisitKind.STARTUP: "startup",
    VisitKind.MID_SEASON: "midseason",
    VisitKind.WINTERISATION: "winterisation",
}
# Common practice, no source: a repair of unknown size.
REPAIR_MIN = 60
# A visit left open overnight by mistake says nothing about the work.
LONGEST_BELIEVED_MIN = 600


class ServiceMinutes:
    """Reads zones, pumps, backflow assemblies and history of many sites in four queries, then answers by kind."""

    def __init__(self, sites: Iterable[Site]) -> None:
        ids = [site.pk for site in sites]
        self.zones = _counted(Zone.objects.filter(site__in=ids), "site_id")
        self.pumps = _counted(Pump.objects.filter(supply__site__in=ids), "supply__site_id")
        self.backflow = _counted(BackflowAssembly.objects.filter(site__in=ids), "site_id")
        self.past: dict[tuple[int, str], list[float]] = defaultdict(list)
        finished = Visit.objects.filter(site__in=ids, started_at__isnull=False, finished_at__isnull=False)
        rows = finished.order_by("finished_at").values_list("site_id", "kind", "started_at", "finished_at")
        for site_id, kind, started, ended in rows:
            assert started and ended
            minutes = (ended - started).total_seconds() / 60
            if 0 < minutes <= LONGEST_BELIEVED_MIN:
                self.past[site_id, kind].append(minutes)

    def at(self, site: Site, kind: str) -> ServiceTime:
        """Minutes and where they come from. Backflow assemblies are tested at startup, pumps take time at both ends.

        The register keeps no history of zone counts: earlier visits are taken to have had today's zones.
        """
        if kind not in RATE_OF:
            return ServiceTime(REPAIR_MIN, "usual time for a repair")
        zones = self.zones.get(site.pk, 0)
        return service_time(
            RATE_OF[VisitKind(kind)],
            zones,
            pumps=0 if kind == VisitKind.MID_SEASON else self.pumps.get(site.pk, 0),
            backflow_tests=self.backflow.get(site.pk, 0) if kind == VisitKind.STARTUP else 0,
            history=[PastVisit(minutes, zones) for minutes in self.past[site.pk, kind]],
            rates=DEFAULT_RATES,
        )


def _counted(rows: QuerySet, site: str) -> dict[int, int]:
    return dict(rows.order_by().values_list(site).annotate(Count("pk")))
