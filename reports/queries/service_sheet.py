"""A visit and its site's register as the dataclass that the service sheet prints."""

import datetime as dt
from dataclasses import replace

from django.conf import settings
from django.urls import reverse
from django.utils import timezone

from jobs.core.cautions import air_limit_kpa, air_pressure_problem
from jobs.core.checklists import PIPE_MATERIAL
from jobs.core.diagnosis_rules import Level
from jobs.models import ChecklistAnswer, ChecklistItem, Fault, Visit, VisitKind
from jobs.queries.checklists import checklist_rows
from jobs.queries.diagnosis import ValveCheck
from jobs.queries.field import schedule_for, valve_checks
from reports.documents import service_sheet as sheet
from reports.documents.controller_card import Program
from reports.queries.letterhead import address_lines, amount, clock, date_at, day, letterhead, plain, when_planned
from reports.queries.programs import printed_programs, published_schedule
from scheduling.models import AppliedSchedule
from sites.core.plant import SitePlant, Zone
from sites.core.rulebook import ZONE
from sites.core.rulebook.choices import DRIP_EMITTERS
from sites.core.units import System, unit_label
from sites.models import Controller, Firm, Photo, Site, Valve
from sites.queries.plant import site_plant

MOVEMENT = {"yes": "yes", "no": "NO", "weeps": "weeps", "": "–"}
PIPE_NAMES = {"pe": "PE", "pvc": "PVC", "drip": "drip"}


def service_sheet_data(visit: Visit, *, completed: bool) -> sheet.ServiceSheet:
    """The sheet of `visit`: blank to take along (prefilled from the register) or completed.

    Access notes stand on the blank sheet only: a completed one is handed to the client. ValueError for the record of
    a visit that is not finished.
    """
    if completed and visit.finished_at is None:
        raise ValueError(f"{visit} is not finished: there is nothing to record yet.")
    firm = Firm.current()
    site, plant = visit.site, site_plant(visit.site)
    checks = valve_checks(visit)
    pipes = _Pipes(visit, firm)
    return sheet.ServiceSheet(
        kind=sheet.VisitKind(visit.kind),
        firm=letterhead(firm),
        reference=f"Visit {visit.pk}",
        planned=_done_on(visit) if completed else when_planned(visit.planned_on, visit.arrives_at),
        technician=str(visit.technician or ""),
        client=sheet.Contact(site.client.name, site.client.phone, site.client.email),
        site=_place(site, with_access=not completed),
        plant=plant,
        as_of=visit.planned_on or timezone.localdate(),
        system=System(firm.units),
        meters=_meters(site),
        zones=_zone_rows(plant, checks, firm, pipes, completed=completed),
        findings=() if completed else _last_findings(visit),
        open_faults=() if completed else _open_faults(visit),
        checklist=_checklist(visit, firm, completed=completed),
        parts_likely=() if completed else _parts_likely(site),
        programs=_programs(visit, completed=completed),
        outcome=_outcome(visit) if completed else None,
        instructions="" if completed else visit.instructions,
        live_url=f"{settings.PUBLIC_URL}{reverse('jobs:visit', args=[visit.pk])}",
    )


def _last_day(visit: Visit) -> dt.date:
    """The day at the site on which the visit was finished; a completed sheet is made of no other."""
    assert visit.finished_at is not None
    return date_at(visit.finished_at, visit.site)


def _done_on(visit: Visit) -> str:
    return day(_last_day(visit))


def _programs(visit: Visit, *, completed: bool) -> tuple[Program, ...]:
    """Run times that are to be set at this visit: of hand-set controllers that do not carry the published revision
    yet; on a completed sheet those that were set on its day."""
    schedule = published_schedule(visit.site) if completed else schedule_for(visit)
    if schedule is None or visit.kind == VisitKind.WINTERISATION:
        return ()
    applied = AppliedSchedule.objects.filter(schedule=schedule)
    if completed:
        done_on = _last_day(visit)
        wanted = set(applied.filter(applied_on=done_on).values_list("controller_id", flat=True))
    else:
        by_hand = Controller.objects.filter(site=visit.site, set_by_hand=True)
        wanted = set(by_hand.exclude(applied_schedules__in=applied).values_list("pk", flat=True))
    return printed_programs(schedule, controllers=wanted)


class _Pipes:
    """What the site's pipe is, from the newest checklist that says so, and how much air it takes at most.

    Drip zones never get more than drip takes; an unknown pipe counts as the weakest.
    """

    def __init__(self, visit: Visit, firm: Firm) -> None:
        self.firm = firm
        self.winter = visit.kind == VisitKind.WINTERISATION
        self.answer = None
        if self.winter:
            said = ChecklistAnswer.objects.filter(visit__site=visit.site, item__key=PIPE_MATERIAL).exclude(text="")
            until = visit.finished_at or timezone.now()
            self.answer = said.filter(answered_at__lte=until).select_related("item").order_by("-answered_at").first()

    def words(self, zones: list[Zone]) -> str:
        if not self.winter:
            return ""
        material = self.material(zones)
        most = amount(air_limit_kpa(material), "pressure", self.firm)
        return f"{PIPE_NAMES.get(material, 'not known')}, at most {most}"

    def material(self, zones: list[Zone]) -> str:
        if any(zone.emitter in DRIP_EMITTERS for zone in zones):
            return "drip"
        return self.answer.text if self.answer else "unknown"


def _place(site: Site, *, with_access: bool) -> sheet.Place:
    window = f"{site.watering_window_start:%H:%M} to {site.watering_window_end:%H:%M}"
    return sheet.Place(
        name=site.name,
        address_lines=address_lines(site),
        access_notes=site.access_notes if with_access else "",
        opening_hours=f"{site.opens_at:%H:%M} to {site.closes_at:%H:%M}",
        watering_window=f"{window}, {site.get_permitted_days_display()}",
        position=f"{site.latitude:.5f}, {site.longitude:.5f}",
    )


def _meters(site: Site) -> str:
    return ", ".join(f"{row.serial_number} ({row.get_unit_display()})" for row in site.meters.filter(removed_on=None))


def _zone_rows(
    plant: SitePlant, checks: list[ValveCheck], firm: Firm, pipes: _Pipes, *, completed: bool
) -> tuple[sheet.ZoneRow, ...]:
    """One row a valve with the zones it feeds, in the order of the terminals; then zones without a valve."""
    rows = [
        _valve_row(plant, check, firm, pipes, completed=completed) for check in checks if not check.valve.is_master
    ]
    for zone in (zone for zone in plant.zones if zone.valve_id is None and zone.in_use):
        rows.append(
            sheet.ZoneRow(
                numbers="–",
                name=f"{zone} (no valve in the register)",
                emitter=_about([zone], firm),
                pipe=pipes.words([zone]),
            )
        )
    return tuple(rows)


def _valve_row(plant: SitePlant, check: ValveCheck, firm: Firm, pipes: _Pipes, *, completed: bool) -> sheet.ZoneRow:
    valve = check.valve
    zones = [zone for zone in plant.zones if zone.valve_id == valve.pk]
    last = check.last if not completed else _values_before(check)
    return sheet.ZoneRow(
        numbers=", ".join(str(zone.number) for zone in zones) or "–",
        name=_row_name(valve, zones),
        emitter=_about(zones, firm),
        pipe=pipes.words(zones),
        as_new=_reading(check.as_new, firm),
        last=_reading(last, firm),
        now=_now(check, firm, pipes.material(zones)) if completed else sheet.Reading(),
        diagnosis="; ".join(_finding_words(check)) if completed else "",
    )


def _about(zones: list[Zone], firm: Firm) -> str:
    """What the rulebook prints of a zone: words as they are, figures after their name."""
    parts = []
    for field in ZONE:
        if field.on_sheet:
            said = {field.shown(getattr(zone, field.name), firm.units, "") for zone in zones}
            words = ", ".join(sorted(said - {""}))
            parts.append(words if field.choices or not words else f"{field.words} {words}")
    return ", ".join(filter(None, parts))


def _row_name(valve: Valve, zones: list[Zone]) -> str:
    """What the row is about; the terminal is named only where it is not the zone's own number."""
    name = ", ".join(zone.name for zone in zones) or f"{valve.name} (no zone)"
    if len(zones) == 1 and zones[0].number == valve.terminal:
        return name
    return f"{name}, terminal {valve.terminal}" if valve.terminal else f"{name}, terminal not known"


def _values_before(check: ValveCheck) -> dict[str, float]:
    """The newest figures that do not come from this visit."""
    return replace(check, measurement=None).last


def _reading(values: dict[str, float], firm: Firm) -> sheet.Reading:
    return sheet.Reading(
        resistance=plain(values.get("coil_resistance_ohm"), decimals=1),
        voltage=plain(values.get("voltage_v"), decimals=1),
        flow=amount(values.get("flow_l_min"), "flow", firm, with_unit=False),
        pressure=amount(values.get("pressure_kpa"), "pressure", firm, with_unit=False),
    )


def _now(check: ValveCheck, firm: Firm, material: str) -> sheet.Reading:
    row = check.measurement
    if row is None:
        return sheet.Reading()
    return sheet.Reading(
        resistance="open" if row.open_circuit else plain(row.coil_resistance_ohm, decimals=1),
        voltage=plain(row.voltage_v, decimals=1),
        flow=amount(row.flow_l_min, "flow", firm, with_unit=False),
        pressure=amount(row.pressure_kpa, "pressure", firm, with_unit=False),
        air_pressure=_air(row.air_pressure_kpa, firm, material),
        air_minutes=plain(row.air_min, decimals=1),
        works=f"{MOVEMENT[row.opens]}, {MOVEMENT[row.closes]}" if row.opens or row.closes else "",
    )


def _air(used_kpa: float | None, firm: Firm, material: str) -> str:
    used = amount(used_kpa, "pressure", firm, with_unit=False)
    return f"{used} OVER" if used_kpa is not None and air_pressure_problem(used_kpa, material) else used


def _finding_words(check: ValveCheck) -> list[str]:
    if check.measurement is None:
        return ["not measured"]
    told = [finding for finding in check.findings if finding.level is not Level.OK]
    if not told:
        return [finding.title for finding in check.findings]
    return [f"{finding.title}: {finding.comparison}" if finding.comparison else finding.title for finding in told]


def _last_findings(visit: Visit) -> tuple[str, ...]:
    """One sentence for each fault that was found before this visit and is settled."""
    earlier = Fault.objects.filter(site=visit.site).exclude(state=Fault.State.OPEN)
    if visit.started_at:
        earlier = earlier.filter(found_at__lt=visit.started_at)
    rows = earlier.select_related("valve", "zone").order_by("-found_at")[:8]
    return tuple(
        f"{day(date_at(row.found_at, visit.site))}: {row.get_kind_display()}, {fault_place(row)}. "
        + sentence(f"{row.get_state_display().capitalize()}{': ' + row.repair_note if row.repair_note else ''}")
        for row in rows
    )


def fault_place(fault: Fault) -> str:
    for thing, word in ((fault.zone, "zone"), (fault.valve, "valve"), (fault.controller, ""), (fault.supply, "")):
        if thing is not None:
            return str(thing) if str(thing).lower().startswith(word) else f"{word} {thing}"
    return "site"


def sentence(text: str) -> str:
    """The text with one full stop, whether its writer set one or not."""
    return text.rstrip().rstrip(".") + "."


def _open_faults(visit: Visit) -> tuple[sheet.OpenFault, ...]:
    known = Fault.objects.open().filter(site=visit.site).exclude(found_on_visit=visit)
    rows = known.select_related("zone", "valve", "controller", "supply")
    return tuple(
        sheet.OpenFault(
            where=fault_place(row),
            what=f"{row.get_kind_display()} ({row.get_severity_display()})"
            + (f": {row.description}" if row.description else ""),
            since=day(date_at(row.found_at, visit.site)),
        )
        for row in rows
    )


def _parts_likely(site: Site) -> tuple[str, ...]:
    parts = Fault.objects.open().filter(site=site).exclude(part_needed="").values_list("part_needed", flat=True)
    return tuple(dict.fromkeys(parts))


def _checklist(visit: Visit, firm: Firm, *, completed: bool) -> tuple[sheet.ChecklistItem, ...]:
    return tuple(
        sheet.ChecklistItem(
            text=row.item.text if completed else _asked(row.item, firm),
            caution=row.item.caution,
            answer=_answer_words(row.item, row.answer, firm) if completed else "",
            remark=_remark(row.item, row.answer) if completed else "",
        )
        for row in checklist_rows(visit)
    )


def _asked(item: ChecklistItem, firm: Firm) -> str:
    """The step with what a pen is to write: the options to mark, the unit of a number."""
    if item.answer == ChecklistItem.Answer.CHOICE:
        return f"{item.text} Mark: {' / '.join(label for _, label in item.options)}."
    if item.answer == ChecklistItem.Answer.NUMBER and item.unit_kind:
        return f"{item.text} In {unit_label(item.unit_kind, firm.units)}."
    return item.text


def _remark(item: ChecklistItem, answer: ChecklistAnswer | None) -> str:
    if answer is None or item.answer == ChecklistItem.Answer.CHOICE:
        return ""
    return answer.text


def _answer_words(item: ChecklistItem, answer: ChecklistAnswer | None, firm: Firm) -> str:
    if answer is None:
        return "not answered"
    if item.answer == ChecklistItem.Answer.NUMBER and answer.number is not None:
        return amount(answer.number, item.unit_kind, firm) if item.unit_kind else f"{answer.number:g}"
    if item.answer == ChecklistItem.Answer.CHOICE and answer.text:
        return answer.shown_text
    return "done" if answer.done else "not done"


def _outcome(visit: Visit) -> sheet.Outcome:
    site = visit.site
    finished_on = day(_last_day(visit))
    return sheet.Outcome(
        arrived=clock(visit.started_at, site),
        left=clock(visit.finished_at, site),
        summary=visit.technician_notes,
        faults=tuple(_fault_found(fault) for fault in _faults_of(visit)),
        next_visit=_next_visit(visit),
        technician_signed=finished_on,
        client_name=visit.signed_by,
        client_signed=finished_on if visit.signed_by else "",
    )


def _faults_of(visit: Visit) -> list[Fault]:
    rows = (visit.faults_found.all() | visit.faults_repaired.all()).distinct()
    return list(rows.select_related("zone", "valve", "controller", "supply").prefetch_related("photos"))


def _fault_found(fault: Fault) -> sheet.FaultFound:
    return sheet.FaultFound(
        where=fault_place(fault),
        what=fault.get_kind_display() + (f": {fault.description}" if fault.description else ""),
        outcome=fault.get_state_display(),
        note=fault.repair_note or (f"Part needed: {fault.part_needed}" if fault.part_needed else ""),
        photos=tuple(_photo(photo) for photo in fault.photos.all()),
    )


def _photo(photo: Photo) -> sheet.Photo:
    with photo.image.open("rb") as file:
        return sheet.Photo(jpeg=file.read(), caption=photo.caption)


def _next_visit(visit: Visit) -> str:
    following = (
        Visit.objects.to_do().filter(site=visit.site).exclude(pk=visit.pk).order_by("planned_on", "opens_on").first()
    )
    if following is None:
        return ""
    if following.planned_on:
        return f"{following.get_kind_display()}, {day(following.planned_on)}"
    return f"{following.get_kind_display()}, between {day(following.opens_on)} and {day(following.due_on)}"
