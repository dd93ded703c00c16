"""Everything of a technician's day as plain data for the phone: places, plant, last figures, faults, checklists."""

import datetime as dt
from dataclasses import asdict
from typing import Any

from django.urls import reverse
from django.utils import timezone

from jobs.core.cautions import AIR_PRESSURE_LIMIT_KPA, CAUTIONS, MEASURING, ROUNDING
from jobs.core.checklists import AIR_CONNECTED, AIR_PRESSURE_LIMIT, AIR_RELEASED, AIR_STILL_ON, PIPE_MATERIAL
from jobs.core.diagnosis import UNITS, rule_table
from jobs.core.field_records import SCHEMAS
from jobs.core.rulebook import NUMBERS
from jobs.models import Fault, ValveMeasurement, Visit
from jobs.queries.checklists import ChecklistRow, checklist_rows, has_drip
from jobs.queries.diagnosis import ValveCheck
from jobs.queries.faults import open_faults
from jobs.queries.field import MEASURED_KINDS, geo_uri, schedule_to_set, tel_uri, today_stops, valve_checks
from sites.core.electrical import COPPER_OHM_MM2_PER_M, IEC_60228_OHM_PER_KM
from sites.core.units import Quantity, display_unit
from sites.models import Controller, Firm, Photo, Site, User, WaterSupply, Zone

SHOWN_PHOTOS = 6  # of one site; thumbnails only
SHOWN_HISTORY = 5  # earlier measurements of a valve


def day_bundle(user: User, date: dt.date) -> dict[str, Any]:
    """The visits of `date` and those left open before it, with all the page needs to work on them offline."""
    day = today_stops(user, date)
    stops = [*day.left_open, *([day.next_stop] if day.next_stop else []), *day.later, *day.done]
    visits = Visit.objects.select_related("site__client", "checklist").in_bulk([stop.visit.pk for stop in stops])
    return {
        "schema": SCHEMAS[-1],
        "date": date.isoformat(),
        "made_at": timezone.now().isoformat(),
        "user": {"id": user.pk, "name": str(user)},
        "firm": Firm.current().name,
        "units": _units(),
        "locale": Firm.current().locale,
        "rules": phone_rules(),
        "cautions": {kind: list(words) for kind, words in CAUTIONS.items()},
        "measuring": MEASURING,
        "air": {
            "limit_kpa": AIR_PRESSURE_LIMIT_KPA,
            "rounding": ROUNDING,
            "limit_key": AIR_PRESSURE_LIMIT,
            "material_key": PIPE_MATERIAL,
            "connected_key": AIR_CONNECTED,
            "released_key": AIR_RELEASED,
            "still_on": AIR_STILL_ON,
        },
        "fault_kinds": Fault.Kind.choices,
        "severities": Fault.Severity.choices,
        "visits": [_visit(visits[stop.visit.pk]) for stop in stops],
    }


def phone_rules() -> dict[str, Any]:
    """The diagnosis table with the constants of the wire formulas, all the page's interpreter needs."""
    return {
        **rule_table(),
        "copper_ohm_mm2_per_m": COPPER_OHM_MM2_PER_M,
        "iec_60228_ohm_per_km": [[section, ohm] for section, ohm in IEC_60228_OHM_PER_KM.items()],
        "units": UNITS,
    }


def _units() -> dict[str, dict[str, Any]]:
    """shown = SI / size + offset, with `decimals`."""
    system = Firm.current().units
    return {str(quantity): asdict(display_unit(quantity, system)) for quantity in Quantity}


def _visit(visit: Visit) -> dict[str, Any]:
    site = visit.site
    to_set = schedule_to_set(visit)
    return {
        "uuid": str(visit.uuid),
        "pk": visit.pk,
        "kind": visit.kind,
        "kind_name": visit.get_kind_display(),
        "state": visit.state,
        "started_at": visit.started_at and visit.started_at.isoformat(),
        "arrives_at": visit.arrives_at and f"{visit.arrives_at:%H:%M}",
        "service_min": visit.service_min,
        "instructions": visit.instructions,
        "site": {
            "name": site.name,
            "address": site.full_address,
            "access_notes": site.access_notes,
            "time_zone": site.time_zone,
            "contact": site.client.contact_name or site.client.name,
            "geo": geo_uri(visit),
            "tel": tel_uri(visit),
            "photos": [
                {"pk": photo.pk, "caption": photo.caption}
                for photo in Photo.objects.filter(site=site).order_by("-taken_at", "-pk")[:SHOWN_PHOTOS]
            ],
            "drawings": _drawings(site),
            "has_drip": has_drip(site.pk),
        },
        "measures_valves": visit.kind in MEASURED_KINDS,
        "steps": [_step(row) for row in checklist_rows(visit)],
        "valves": [_valve(check) for check in valve_checks(visit)],
        "faults": [
            {
                "pk": row.fault.pk,
                "kind": row.fault.kind,
                "kind_name": row.fault.get_kind_display(),
                "severity": row.fault.get_severity_display(),
                "place": row.place,
                "valve": row.fault.valve_id,
                "found_at": row.fault.found_at.isoformat(),
                "description": row.fault.description,
            }
            for row in open_faults(site)
        ],
        "places": _places(site),
        "to_set": [] if to_set is None else [{"pk": row.pk, "name": str(row)} for row in to_set.waiting],
        "to_set_label": ""
        if to_set is None
        else f"Season {to_set.schedule.season_year}, revision {to_set.schedule.revision}",
    }


def _places(site: Site) -> list[dict[str, str]]:
    rows: list[tuple[str, Zone | Controller | WaterSupply]] = [("zone", row) for row in site.zones.all()]
    rows += [("controller", row) for row in site.controllers.all()]
    rows += [("supply", row) for row in site.supplies.all()]
    return [{"key": f"{word}-{row.pk}", "name": f"{word}: {row}"} for word, row in rows]


def _drawings(site: Site) -> list[dict[str, str]]:
    """Addresses of the pictures that are kept on the phone, a width of its own."""
    return [
        {
            "url": reverse("jobs:plant_drawing", args=[controller.pk, kind, "narrow"]),
            "title": f"{title}, {controller}",
        }
        for controller in site.controllers.all()
        for kind, title in (("water-path", "Where the water goes"), ("terminals", "Which wire goes where"))
    ]


def _step(row: ChecklistRow) -> dict[str, Any]:
    item, answer = row.item, row.answer
    return {
        "pk": item.pk,
        "key": item.key,
        "text": item.text,
        "caution": item.caution,
        "answer": item.answer,
        "unit_kind": item.unit_kind,
        "options": item.options,
        "gate": item.gate,
        "given": answer and {"done": answer.done, "number": answer.number, "text": answer.text},
    }


def _valve(check: ValveCheck) -> dict[str, Any]:
    measured = [check.measurement] if check.measurement else []
    return {
        "pk": check.valve.pk,
        "name": str(check.valve),
        "where": check.where,
        "baseline": asdict(check.baseline),
        "as_new": check.as_new,
        "last": check.last,
        "measured": [_measurement(row) for row in measured],
        "known": [str(row.uuid) for row in [*measured, *check.history] if _of_visit(row, check)],
        "history": [_measurement(row) for row in check.history[:SHOWN_HISTORY]],
    }


def _of_visit(row: ValveMeasurement, check: ValveCheck) -> bool:
    return check.measurement is not None and row.visit_id == check.measurement.visit_id


def _measurement(row: ValveMeasurement) -> dict[str, Any]:
    return {
        **{name: getattr(row, name) for name in NUMBERS},
        "open_circuit": row.open_circuit,
        "opens": row.opens,
        "closes": row.closes,
        "note": row.note,
        "at": row.measured_at.isoformat(),
        "by": str(row.measured_by or ""),
    }
