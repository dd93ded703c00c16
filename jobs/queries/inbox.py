"""What came from phones and waits for a person: said in words, beside what is recorded."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Q, QuerySet

from jobs.models import ChecklistAnswer, ChecklistItem, Fault, FieldDevice, InboxRecord, ValveMeasurement, Visit
from sites.core.units import format_quantity
from sites.models import Firm, Valve

KIND_WORDS = {
    "visit_started": "Visit started",
    "checklist_answer": "Checklist step",
    "measurement": "Valve measured",
    "fault": "Fault",
    "fault_repaired": "Fault repaired",
    "visit_finished": "Visit finished",
}
MEASURED = {
    "coil_resistance_ohm": ("resistance", "Ω"),
    "voltage_v": ("voltage", "V"),
    "current_a": ("current", "A"),
    "flow_l_min": ("flow", "flow"),
    "pressure_kpa": ("pressure", "pressure"),
    "temperature_c": ("temperature", "temperature"),
    "air_pressure_kpa": ("air used", "pressure"),
    "air_min": ("air on", "min"),
    "opens": ("opens", ""),
    "closes": ("closes", ""),
    "note": ("note", ""),
}
Facts = list[tuple[str, str]]


@dataclass(frozen=True)
class InboxRow:
    """`says` is the record in words, `recorded` what is stored now."""

    entry: InboxRecord
    title: str
    says: Facts
    recorded: Facts

    @property
    def can_apply(self) -> bool:
        return self.entry.state != InboxRecord.State.REFUSED and self.entry.visit_id is not None


def to_decide() -> QuerySet:
    return (
        InboxRecord.objects.filter(state__in=InboxRecord.TO_DECIDE)
        .select_related("visit__site", "visit__technician", "sender", "device", "imported_by", "twin_of")
        .order_by("visit_id", "device_id", "sequence", "pk")
    )


def clock_troubles() -> list[FieldDevice]:
    return list(FieldDevice.objects.exclude(clock_offset_s=0).select_related("user").order_by("-last_seen_at")[:20])


def to_decide_together() -> list[Visit]:
    """Visits of which more than one record waits, with `waiting`, how many."""
    waits = Count("inbox_records", filter=Q(inbox_records__state__in=InboxRecord.TO_DECIDE))
    rows = Visit.objects.annotate(waiting=waits).filter(waiting__gt=1)
    return list(rows.select_related("site", "technician").order_by("planned_on", "pk")[:20])


def inbox_rows(entries: Iterable[InboxRecord]) -> list[InboxRow]:
    return [_row(entry) for entry in entries]


def _row(entry: InboxRecord) -> InboxRow:
    data = _data(entry)
    title = KIND_WORDS.get(entry.kind, "Unreadable record")
    says: Facts = []
    recorded: Facts = []
    if entry.errors:
        says = [("as sent", entry.body[:2000])]
        says += [(name, " ".join(found)) for name, found in entry.errors.items()]
    elif entry.kind in READ:
        title, says, recorded = READ[entry.kind](entry, data, title)
    return InboxRow(entry, title, says, recorded)


def _data(entry: InboxRecord) -> dict[str, Any]:
    try:
        data = json.loads(entry.body).get("data", {})
    except (ValueError, AttributeError):
        return {}
    return dict(data) if isinstance(data, Mapping) else {}


def _answer(entry: InboxRecord, data: dict, title: str) -> tuple[str, Facts, Facts]:
    item = ChecklistItem.objects.filter(pk=data.get("item") or 0).first()
    given = ChecklistAnswer.objects.filter(visit=entry.visit_id, item=item).select_related("answered_by").first()
    recorded = []
    if given:
        recorded = [("step", _step_words(given.done, given.number, given.text, item)), ("by", str(given.answered_by))]
    says = [("step", _step_words(data.get("done"), data.get("number"), data.get("text", ""), item))]
    return f"{title}: {item or 'unknown'}", says, recorded


def _step_words(done: bool | None, number: float | None, text: str, item: ChecklistItem | None) -> str:
    shown = "" if number is None else f" {number:g}"
    if number is not None and item is not None and item.unit_kind:
        shown = f" {format_quantity(number, item.unit_kind, Firm.current().units)}"
    return f"{'done' if done else 'not done'}{shown}{' ' + text if text else ''}"


def _measured(entry: InboxRecord, data: dict, title: str) -> tuple[str, Facts, Facts]:
    valve = Valve.objects.filter(pk=data.get("valve") or 0).first()
    row = ValveMeasurement.objects.filter(visit=entry.visit_id, valve=valve).select_related("measured_by").first()
    recorded: Facts = []
    if row:
        recorded = [*_figures({name: getattr(row, name) for name in MEASURED}), ("by", str(row.measured_by))]
    return f"{title}: {valve or 'unknown'}", _figures(data), recorded


def _figures(values: Mapping[str, Any]) -> Facts:
    facts = []
    for name, (word, unit) in MEASURED.items():
        value = values.get(name)
        if value in (None, ""):
            continue
        if name in ("flow_l_min", "pressure_kpa", "temperature_c", "air_pressure_kpa"):
            facts.append((word, format_quantity(float(value), unit, Firm.current().units)))
        else:
            facts.append((word, f"{value:g} {unit}" if isinstance(value, int | float) else str(value)))
    return facts


def _fault(entry: InboxRecord, data: dict, title: str) -> tuple[str, Facts, Facts]:
    kind = dict(Fault.Kind.choices).get(data.get("kind", ""), data.get("kind", ""))
    says = [("severity", dict(Fault.Severity.choices).get(data.get("severity", ""), ""))]
    says += [(word, data[name]) for name, word in FAULT_WORDS.items() if data.get(name)]
    return f"{title}: {kind}", says, []


def _repaired(entry: InboxRecord, data: dict, title: str) -> tuple[str, Facts, Facts]:
    fault = Fault.objects.filter(pk=data.get("fault") or 0).first()
    recorded = [("state", fault.get_state_display()), ("done", fault.repair_note)] if fault else []
    return f"{title}: {fault or 'unknown'}", [("done", data.get("note", ""))], recorded


FAULT_WORDS = {"description": "in words", "part_needed": "part needed", "repair_note": "repaired"}


def _finish(entry: InboxRecord, data: dict, title: str) -> tuple[str, Facts, Facts]:
    words = {"notes": "notes", "signed_by": "signed off by", "accept_reason": "left out because"}
    says = [(word, data[name]) for name, word in words.items() if data.get(name)]
    visit, recorded = entry.visit, []
    if visit is not None and visit.finished_at:
        recorded = [("notes", visit.technician_notes), ("signed off by", visit.signed_by)]
    return title, says, recorded


READ = {
    "checklist_answer": _answer,
    "measurement": _measured,
    "fault": _fault,
    "fault_repaired": _repaired,
    "visit_finished": _finish,
}
