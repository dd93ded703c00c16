"""A visit and its site's register as the dataclass that the service sheet prints."""

from dataclasses import replace
from zoneinfo import ZoneInfo

from django.utils import timezone

from jobs.core.diagnosis_rules import Level
from jobs.models import ChecklistAnswer, ChecklistItem, Fault, Visit, VisitKind
from jobs.queries.checklists import checklist_rows
from jobs.queries.diagnosis import ValveCheck
from jobs.queries.field import valve_checks
from reports.documents import service_sheet as sheet
from reports.queries.letterhead import address_lines, amount, clock, day, letterhead, plain, when_planned
from reports.queries.programs import printed_programs, published_schedule
from sites.core.units import unit_label
from sites.models import BackflowAssembly, Controller, Firm, Pump, Site, Valve, WaterSupply, Zone

MOVEMENT = {"yes": "yes", "no": "NO", "weeps": "weeps", "": "–"}
KINDS_ON_PAPER = {kind.value: kind for kind in sheet.VisitKind}


def service_sheet_data(visit: Visit, *, completed: bool) -> sheet.ServiceSheet:
    """The sheet of `visit`: blank to take along (prefilled from the register) or completed.

    A repair visit is printed in the form of a mid-season check.
    """
    firm = Firm.current()
    site = visit.site
    checks = valve_checks(visit)
    schedule = published_schedule(site)
    return sheet.ServiceSheet(
        kind=KINDS_ON_PAPER.get(visit.kind, sheet.VisitKind.MID_SEASON),
        firm=letterhead(firm),
        reference=f"Visit {visit.pk}",
        planned=when_planned(visit.planned_on, visit.arrives_at),
        technician=str(visit.technician or ""),
        client=sheet.Contact(site.client.name, site.client.phone, site.client.email),
        site=_place(site),
        units=_units(firm),
        supply=_supply(site, firm),
        pumps=tuple(_pump(pump) for pump in Pump.objects.filter(supply__site=site)),
        backflow=tuple(_backflow(row, visit) for row in BackflowAssembly.objects.filter(site=site)),
        controllers=tuple(_controller(row) for row in Controller.objects.filter(site=site)),
        zones=_zone_rows(site, checks, firm, completed=completed),
        findings=() if completed else _last_findings(visit),
        open_faults=() if completed else _open_faults(site),
        checklist=_checklist(visit, firm, completed=completed),
        parts_likely=() if completed else _parts_likely(site),
        programs=() if visit.kind == VisitKind.WINTERISATION else printed_programs(schedule, set_by_hand_only=True),
        outcome=_outcome(visit) if completed else None,
    )


def _units(firm: Firm) -> sheet.Units:
    return sheet.Units(flow=unit_label("flow", firm.units), pressure=unit_label("pressure", firm.units))


def _place(site: Site) -> sheet.Place:
    window = f"{site.watering_window_start:%H:%M} to {site.watering_window_end:%H:%M}"
    return sheet.Place(
        name=site.name,
        address_lines=address_lines(site),
        access_notes=site.access_notes,
        opening_hours=f"{site.opens_at:%H:%M} to {site.closes_at:%H:%M}",
        watering_window=f"{window}, {site.get_permitted_days_display()}",
        position=f"{site.latitude:.5f}, {site.longitude:.5f}",
    )


def _supply(site: Site, firm: Firm) -> sheet.Supply | None:
    """The first supply in full; a second one is named beside it."""
    supplies = list(WaterSupply.objects.filter(site=site).order_by("pk"))
    if not supplies:
        return None
    first = supplies[0]
    meter = site.meters.filter(removed_on=None).first()
    return sheet.Supply(
        kind="; ".join(str(row) for row in supplies),
        static_pressure=amount(first.static_pressure_kpa, "pressure", firm),
        flow_available=amount(first.flow_available_l_min, "flow", firm),
        shut_off=first.shutoff_location,
        meter=f"{meter.serial_number} ({meter.get_unit_display()})" if meter else "",
    )


def _pump(pump: Pump) -> sheet.Pump:
    return sheet.Pump(
        name=pump.name,
        prime_delay=f"{pump.prime_delay_s} s",
        minimum_run=f"{pump.minimum_run_s} s",
        most_starts=f"{pump.most_starts_per_hour} an hour",
    )


def _backflow(row: BackflowAssembly, visit: Visit) -> sheet.BackflowAssembly:
    reference_day = visit.planned_on or timezone.localdate()
    return sheet.BackflowAssembly(
        name=str(row),
        location=row.location,
        last_test=day(row.last_tested_on),
        test_due=day(row.test_due_on),
        overdue=row.test_due_on is not None and row.test_due_on < reference_day,
    )


def _controller(row: Controller) -> sheet.ControllerFacts:
    transformer = f", {row.transformer_va:g} VA" if row.transformer_va else ""
    return sheet.ControllerFacts(
        name=row.name,
        location=row.location,
        terminals=str(row.terminals),
        supply=f"{row.get_output_display()}{transformer}",
        notes="run times set by hand" if row.set_by_hand else "run times sent to it",
    )


def _zone_rows(site: Site, checks: list[ValveCheck], firm: Firm, *, completed: bool) -> tuple[sheet.ZoneRow, ...]:
    """One row a valve with the zones it feeds, in the order of the terminals; then zones without a valve."""
    rows = [_valve_row(check, firm, completed=completed) for check in checks if not check.valve.is_master]
    for zone in Zone.objects.filter(site=site, valve=None, in_use=True).order_by("number"):
        rows.append(
            sheet.ZoneRow(terminal="–", name=f"{zone} (no valve in the register)", emitter=zone.get_emitter_display())
        )
    return tuple(rows)


def _valve_row(check: ValveCheck, firm: Firm, *, completed: bool) -> sheet.ZoneRow:
    valve = check.valve
    zones = list(valve.zones.all())
    last = check.last if not completed else _values_before(check)
    return sheet.ZoneRow(
        terminal=", ".join(str(zone.number) for zone in zones) or "–",
        name=_row_name(valve, zones),
        emitter=", ".join(sorted({zone.get_emitter_display() for zone in zones})),
        as_new=_reading(check.as_new, firm),
        last=_reading(last, firm),
        now=_now(check, firm) if completed else sheet.Reading(),
        diagnosis="; ".join(_finding_words(check)) if completed else "",
    )


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


def _now(check: ValveCheck, firm: Firm) -> sheet.Reading:
    row = check.measurement
    if row is None:
        return sheet.Reading()
    return sheet.Reading(
        resistance="open" if row.open_circuit else plain(row.coil_resistance_ohm, decimals=1),
        voltage=plain(row.voltage_v, decimals=1),
        flow=amount(row.flow_l_min, "flow", firm, with_unit=False),
        pressure=amount(row.pressure_kpa, "pressure", firm, with_unit=False),
        works=f"{MOVEMENT[row.opens]} / {MOVEMENT[row.closes]}" if row.opens or row.closes else "",
    )


def _finding_words(check: ValveCheck) -> list[str]:
    if check.measurement is None:
        return ["not measured"]
    return [
        finding.title if finding.level is Level.OK else f"{finding.title}: {finding.comparison}"
        for finding in check.findings
    ]


def _last_findings(visit: Visit) -> tuple[str, ...]:
    """One sentence for each fault found on the site's visits of the season before this visit."""
    earlier = Fault.objects.filter(site=visit.site).exclude(state=Fault.State.OPEN)
    rows = earlier.select_related("valve", "zone").order_by("-found_at")[:8]
    return tuple(
        f"{day(row.found_at.date())}: {row.get_kind_display()}, {fault_place(row)}. "
        f"{row.get_state_display().capitalize()}{': ' + row.repair_note if row.repair_note else ''}."
        for row in rows
    )


def fault_place(fault: Fault) -> str:
    for thing, word in ((fault.zone, "zone"), (fault.valve, "valve"), (fault.controller, ""), (fault.supply, "")):
        if thing is not None:
            return str(thing) if str(thing).lower().startswith(word) else f"{word} {thing}"
    return "site"


def _open_faults(site: Site) -> tuple[sheet.OpenFault, ...]:
    rows = Fault.objects.open().filter(site=site).select_related("zone", "valve", "controller", "supply")
    return tuple(
        sheet.OpenFault(
            where=fault_place(row),
            what=f"{row.get_kind_display()} ({row.get_severity_display()})"
            + (f": {row.description}" if row.description else ""),
            since=day(row.found_at.date()),
        )
        for row in rows
    )


def _parts_likely(site: Site) -> tuple[str, ...]:
    parts = Fault.objects.open().filter(site=site).exclude(part_needed="").values_list("part_needed", flat=True)
    return tuple(dict.fromkeys(parts))


def _checklist(visit: Visit, firm: Firm, *, completed: bool) -> tuple[sheet.ChecklistItem, ...]:
    return tuple(
        sheet.ChecklistItem(
            text=row.item.text,
            caution=row.item.caution,
            answer=_answer_words(row.item, row.answer, firm) if completed else "",
            remark=row.answer.text if completed and row.answer else "",
        )
        for row in checklist_rows(visit)
    )


def _answer_words(item: ChecklistItem, answer: ChecklistAnswer | None, firm: Firm) -> str:
    if answer is None:
        return "not answered"
    if item.answer == ChecklistItem.Answer.NUMBER and answer.number is not None:
        return amount(answer.number, item.unit_kind, firm) if item.unit_kind else f"{answer.number:g}"
    return "done" if answer.done else "not done"


def _outcome(visit: Visit) -> sheet.Outcome:
    site = visit.site
    finished_on = day(timezone.localtime(visit.finished_at, ZoneInfo(site.time_zone)).date())
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


def _photo(photo) -> sheet.Photo:
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
