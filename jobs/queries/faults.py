"""Faults with their neighbours: what else went wrong at the same place, and a site's whole story."""

from collections.abc import Iterable
from dataclasses import dataclass

from jobs.core.diagnosis import Finding
from jobs.core.diagnosis_rules import Level
from jobs.models import Fault, Visit
from jobs.models.field import FaultQuerySet
from jobs.queries.diagnosis import ValveCheck
from jobs.queries.field import valve_checks
from jobs.queries.places import PLACES, place_of
from sites.models import AuditEntry, Photo, Site, User, Valve


def with_place(faults: FaultQuerySet) -> FaultQuerySet:
    return faults.select_related("site", "valve__controller", "zone", "controller", "supply", "found_by")


@dataclass(frozen=True)
class FaultRow:
    fault: Fault
    place: str


def with_known_faults(check: ValveCheck) -> list[tuple[Finding, Fault | None]]:
    """Each finding with the open fault of this valve that already tells it."""
    known = {fault.kind: fault for fault in Fault.objects.open().filter(valve=check.valve)}
    return [(finding, known.get(finding.fault_kind)) for finding in check.findings]


def found_without_fault(visit: Visit) -> list[tuple[Valve, Finding]]:
    """What this visit's figures say must be acted on, at valves where nobody has recorded that fault."""
    told = Fault.objects.open().filter(site_id=visit.site_id) | Fault.objects.filter(found_on_visit=visit)
    known = set(told.values_list("valve_id", "kind"))
    return [
        (check.valve, finding)
        for check in valve_checks(visit)
        if check.measurement
        for finding in check.findings
        if finding.level is Level.ACT and finding.fault_kind and (check.valve.pk, finding.fault_kind) not in known
    ]


def fault_rows(faults: Iterable[Fault]) -> list[FaultRow]:
    """`faults` come with their places: `with_place`."""
    return [FaultRow(fault, place_of(fault)) for fault in faults]


SEVERITY_ORDER = {word: rank for rank, word in enumerate(Fault.Severity.values)}


def office_faults(user: User, *, state: str = "", severity: str = "", site: Site | None = None) -> FaultQuerySet:
    faults = Fault.objects.visible_to(user)
    if state:
        faults = faults.filter(state=state)
    if severity:
        faults = faults.filter(severity=severity)
    if site is not None:
        faults = faults.filter(site=site)
    return faults


def open_faults(site: Site) -> list[FaultRow]:
    """Open faults of a site, the worst first."""
    rows = fault_rows(with_place(Fault.objects.open().filter(site=site)))
    return sorted(rows, key=lambda row: SEVERITY_ORDER[row.fault.severity])


@dataclass(frozen=True)
class FaultStory:
    """A fault's own steps and the other faults at the same place, across visits and seasons."""

    fault: Fault
    place: str
    steps: list[AuditEntry]
    photos: list[Photo]
    visit: Visit | None
    same_place: list[FaultRow]


def fault_story(fault: Fault, user: User) -> FaultStory:
    """`visit` is the one it was found on, if this person may open it."""
    steps = AuditEntry.objects.filter(subject_type="jobs.fault", subject_id=str(fault.pk)).select_related("by")
    return FaultStory(
        fault=fault,
        place=place_of(fault),
        steps=list(steps.order_by("at", "pk")),
        photos=list(fault.photos.all()),
        visit=Visit.objects.visible_to(user).filter(faults_found=fault).first(),
        same_place=_same_place(fault),
    )


def _same_place(fault: Fault) -> list[FaultRow]:
    for name in PLACES:
        row = getattr(fault, name)
        if row is not None:
            return fault_rows(
                with_place(Fault.objects.filter(site=fault.site_id, **{name: row}).exclude(pk=fault.pk))
            )
    return []


def visit_under_way(user: User, site: Site) -> Visit | None:
    """The visit on which this person is at the site now, to note a repair on it."""
    return Visit.objects.filter(technician=user, site=site, state=Visit.State.STARTED).order_by("started_at").last()


def site_visits(site: Site, user: User) -> list[Visit]:
    """The site's visits this person may see, the newest first."""
    visits = Visit.objects.visible_to(user).filter(site=site).select_related("technician")
    return list(visits.order_by("-season_year", "-planned_on", "-due_on", "-pk"))
