"""Every route x every role x own and foreign rows, from one table. A route without a row fails.

Columns: A nobody signed in, W owner, O office, T technician with a visit at the site, U technician without one,
C the site's client, S another client. Letters: `+` let in (an answer, a form's complaint, a method that is not there
but would be theirs), `-` kept out (sign in, 403), `N` not found, as for an absent row. Every row in every address is
Hazel's, so T and C are the own, U and S the foreign case.
"""

import datetime as dt
import io
import uuid
from dataclasses import dataclass
from types import SimpleNamespace

import pytest
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.test import Client
from django.urls import URLResolver, get_resolver, reverse
from PIL import Image

from jobs.models import (
    Absence,
    ChecklistTemplate,
    ClosedDays,
    InboxRecord,
    PlanRun,
    Proposal,
    Replan,
    ServicePlan,
    Skill,
    ValveMeasurement,
    Visit,
    WorkRecord,
)
from reports.models import AppointmentMail, BulkJob, Delivery, Document, ShareLink
from scheduling.models import (
    CatchCanTest,
    DailyWeather,
    ForecastDay,
    Program,
    SeasonSchedule,
    WateringPause,
    WeatherImport,
)
from sites.actions.photos import store_photo
from sites.models import Tariff
from tests import factories, streams

#            AWOTUCS
ALL_ANY = "-++++++"
ALL_ROWS = "-+++N+N"
STAFF_ANY = "-++++--"
STAFF_ROWS = "-+++N--"
OFFICE_ONLY = "-++----"
NOBODY = "-------"
OPEN = "+++++++"


@dataclass(frozen=True)
class Route:
    """Who is let in by GET and by POST; `args` name the world's rows in the address."""

    get: str
    post: str
    args: tuple[str, ...] = ()
    patch: str = ""
    delete: str = ""


def page(let_in: str, *args: str) -> Route:
    return Route(let_in, let_in, args)


def read(let_in: str, *args: str) -> Route:
    """A page without a POST: those let in are told so before any row is looked for."""
    return Route(let_in, let_in.replace("N", "+"), args)


def button(let_in: str, *args: str) -> Route:
    """A POST without a page."""
    return Route(let_in.replace("N", "+"), let_in, args)


def resource(name: str, row: str, *, listed: str, rows: str, post: str = NOBODY, change: str = NOBODY) -> dict:
    """A REST resource: its list (GET, POST) and its rows (GET, PATCH, DELETE; a row takes no POST)."""
    return {
        f"api-{name}-list": Route(listed, post),
        f"api-{name}-detail": Route(rows, post, (row,), patch=change, delete=change),
    }


CONFIG = {
    "home": page(ALL_ANY),
    "glossary": page(ALL_ANY),
    "healthz": page(OPEN),
    "readyz": page(OPEN),
    "login": page(OPEN),
    "logout": page(ALL_ANY),
    "api-schema": Route(STAFF_ANY, NOBODY),
    "api-docs": Route(STAFF_ANY, NOBODY),
}
SITES = {
    "sites:site_list": page(ALL_ANY),
    "sites:site_new": page(OFFICE_ONLY),
    "sites:site_page": page(ALL_ROWS, "site"),
    "sites:site_edit": page(OFFICE_ONLY, "site"),
    "sites:site_archive": page(OFFICE_ONLY, "site"),
    "sites:site_delete": page(OFFICE_ONLY, "site"),
    "sites:site_state": page(OFFICE_ONLY, "site"),
    "sites:state_change_withdraw": button(OFFICE_ONLY, "state_change"),
    "sites:zone_water": read(STAFF_ROWS, "site"),
    "sites:photo_new": page(STAFF_ROWS, "site"),
    "sites:photo": page("-+++NNN", "photo"),
    "sites:photo_delete": page(OFFICE_ONLY, "photo"),
    "sites:supply_new": page(OFFICE_ONLY, "site"),
    "sites:backflow_new": page(OFFICE_ONLY, "site"),
    "sites:controller_new": page(OFFICE_ONLY, "site"),
    "sites:zone_new": page(OFFICE_ONLY, "site"),
    "sites:meter_new": page(OFFICE_ONLY, "site"),
    "sites:pump_new": page(OFFICE_ONLY, "dry_supply"),
    "sites:valve_new": page(OFFICE_ONLY, "controller"),
    "sites:reading_new": page(STAFF_ROWS, "meter"),
    **{
        f"sites:{word}_{verb}": page(OFFICE_ONLY, word)
        for word in ("supply", "pump", "backflow", "controller", "valve", "zone", "meter", "reading")
        for verb in ("edit", "delete")
    },
    "sites:client_list": page(OFFICE_ONLY),
    "sites:client_new": page(OFFICE_ONLY),
    "sites:client_page": page(OFFICE_ONLY, "client"),
    "sites:client_edit": page(OFFICE_ONLY, "client"),
    "sites:client_archive": page(OFFICE_ONLY, "client"),
    "sites:tariff_list": page(OFFICE_ONLY),
    "sites:tariff_new": page(OFFICE_ONLY),
    "sites:tariff_edit": page(OFFICE_ONLY, "tariff"),
    "sites:tariff_delete": page(OFFICE_ONLY, "tariff"),
    "sites:person_list": page(OFFICE_ONLY),
    "sites:person_new": page(OFFICE_ONLY),
    "sites:person_edit": page(OFFICE_ONLY, "client_user"),
    "sites:own_password": page(ALL_ANY),
    "sites:firm_edit": page(OFFICE_ONLY),
}
SCHEDULING = {
    "scheduling:week": page(OFFICE_ONLY),
    "scheduling:site_watering": page(ALL_ROWS, "site"),
    "scheduling:schedule_compute": button(OFFICE_ONLY, "site"),
    "scheduling:site_pause": page(OFFICE_ONLY, "site"),
    "scheduling:pause_end": button(OFFICE_ONLY, "pause"),
    "scheduling:schedule": page(ALL_ROWS, "schedule"),
    "scheduling:schedule_publish": button(OFFICE_ONLY, "draft"),
    "scheduling:seasonal_percentage": page(ALL_ROWS, "schedule"),
    "scheduling:schedule_next_visit": button(OFFICE_ONLY, "draft"),
    "scheduling:schedule_applied": button(STAFF_ROWS, "schedule", "controller"),
    "scheduling:figure": page("-NNNNNN", "schedule", "zone", "month"),  # nothing was computed for it: absent for all
    "scheduling:program_edit": page(OFFICE_ONLY, "draft_program"),
    "scheduling:program_new": button(OFFICE_ONLY, "draft", "controller"),
    "scheduling:program_copy": button(OFFICE_ONLY, "draft_program"),
    "scheduling:program_delete": page(OFFICE_ONLY, "draft_program"),
    "scheduling:sequence": read(STAFF_ROWS, "schedule"),
    # No program runs on it, so there is no picture: absent for all.
    "scheduling:sequence_chart": read("-NNNN--", "schedule", "controller", "date", "week", "wide"),
    "scheduling:one_off_run": read(STAFF_ROWS, "controller"),
    # Nothing is asked for: absent for all.
    "scheduling:one_off_run_chart": read("-NNNN--", "controller", "wide"),
    "scheduling:site_season": page(ALL_ROWS, "site", "year"),
    "scheduling:what_if": page(STAFF_ROWS, "site", "year"),
    "scheduling:backtest": page(STAFF_ROWS, "site"),
    "scheduling:zone_season": page(ALL_ROWS, "zone", "year"),
    "scheduling:zone_tests": page(STAFF_ROWS, "zone"),
    "scheduling:catch_can_test_new": page(STAFF_ROWS, "zone"),
    "scheduling:catch_can_test": page(STAFF_ROWS, "cans"),
    "scheduling:catch_can_take_over": button(OFFICE_ONLY, "cans"),
    "scheduling:station_list": page(OFFICE_ONLY),
    "scheduling:station_new": page(OFFICE_ONLY),
    "scheduling:station": page(OFFICE_ONLY, "station"),
    "scheduling:station_edit": page(OFFICE_ONLY, "station"),
    "scheduling:station_forecast": page(OFFICE_ONLY, "station"),
    "scheduling:station_import": page(OFFICE_ONLY, "station"),
    "scheduling:weather_import": page(OFFICE_ONLY, "weather_import"),
}
JOBS = {
    "jobs:today": page(STAFF_ANY),
    "jobs:season_map": read(OFFICE_ONLY, "year"),
    "jobs:season_places": read(OFFICE_ONLY, "year"),
    "jobs:upset_list": read(OFFICE_ONLY),
    "jobs:upset_new": page(OFFICE_ONLY, "frost"),
    "jobs:upset": read(OFFICE_ONLY, "replan"),
    "jobs:upset_decide": button(OFFICE_ONLY, "replan"),
    "jobs:calendar": page("-+++N--", "technician"),
    "jobs:calendar_feed": read("NNNNNNN", "unknown_token"),  # closed by its token alone
    "jobs:route_download": read("-+++N--", "date", "technician", "gpx"),
    "jobs:visit": page(STAFF_ROWS, "visit"),
    "jobs:visit_start": button(STAFF_ROWS, "visit"),
    "jobs:visit_checklist": button(STAFF_ROWS, "visit", "checklist_item"),
    "jobs:visit_valve": page(STAFF_ROWS, "visit", "valve"),
    "jobs:visit_fault_new": page(STAFF_ROWS, "visit"),
    "jobs:visit_finish": page(STAFF_ROWS, "visit"),
    "jobs:fault_list": page(OFFICE_ONLY),
    "jobs:fault": page(STAFF_ROWS, "fault"),
    "jobs:fault_repair": button(STAFF_ROWS, "fault"),
    "jobs:fault_photos": button(STAFF_ROWS, "fault"),
    "jobs:site_visits": page(STAFF_ROWS, "site"),
    "jobs:drawings": read(STAFF_ROWS, "site"),
    "jobs:plant_drawing": read(STAFF_ROWS, "controller", "terminals", "wide"),
    "jobs:field_app": page(STAFF_ANY),
    "jobs:field_worker": page(OPEN),
    "jobs:field_manifest": page(OPEN),
    "jobs:field_session": page(OPEN),
    "jobs:field_bundle": page(STAFF_ANY),
    "jobs:field_thumbnail": read(STAFF_ROWS, "photo"),
    # PUT only, so that those let in are told so; what PUT does stands in tests/jobs/test_inbox_*.py.
    "jobs:field_record": page(STAFF_ANY, "some_uuid"),
    "jobs:field_photo": page(STAFF_ANY, "some_uuid"),
    "jobs:inbox": page(OFFICE_ONLY),
    "jobs:inbox_import": button(OFFICE_ONLY),
    "jobs:inbox_decide": button(OFFICE_ONLY, "inbox_record"),
    "jobs:inbox_apply_visit": button(OFFICE_ONLY, "visit"),
    "jobs:visit_work": page(STAFF_ROWS, "repair_visit"),
    "jobs:work_billed": button(OFFICE_ONLY, "repair_visit"),
    "jobs:price_list": read(OFFICE_ONLY),
    "jobs:price_new": page(OFFICE_ONLY),
    "jobs:price_edit": page(OFFICE_ONLY, "price_item"),
    "jobs:price_delete": page(OFFICE_ONLY, "price_item"),
    "jobs:proposal_list": read(OFFICE_ONLY),
    "jobs:proposal_new": page(OFFICE_ONLY, "site"),
    "jobs:proposal": page(OFFICE_ONLY, "draft_proposal"),
    "jobs:proposal_discard": page(OFFICE_ONLY, "draft_proposal"),
    "jobs:proposal_revise": button(OFFICE_ONLY, "sent_proposal"),
    "jobs:proposal_withdraw": button(OFFICE_ONLY, "sent_proposal"),
    "jobs:service_plan": page(OFFICE_ONLY, "site"),
    "jobs:season_board": page(OFFICE_ONLY),
    "jobs:season_generate": button(OFFICE_ONLY, "year"),
    "jobs:season_plan": button(OFFICE_ONLY, "year"),
    "jobs:season_window": page(OFFICE_ONLY, "year", "kind"),
    "jobs:plan_comparison": read(OFFICE_ONLY),
    "jobs:plan_decide": button(OFFICE_ONLY, "plan_run"),
    "jobs:season_plan_stop": button(OFFICE_ONLY, "plan_run"),
    "jobs:day_board": page(OFFICE_ONLY),
    "jobs:day_order_all": button(OFFICE_ONLY, "future"),
    "jobs:day_order": button(OFFICE_ONLY, "future", "technician"),
    "jobs:day_arrange": button(OFFICE_ONLY, "future", "technician"),
    "jobs:day_map": read(OFFICE_ONLY, "future", "technician"),
    "jobs:visit_new": page(OFFICE_ONLY),
    "jobs:visit_plan": page(OFFICE_ONLY, "visit"),
    "jobs:day_move": Route(OFFICE_ONLY, "-NN----", ("visit",)),  # a started visit has no place to move from
    "jobs:day_assign": button(OFFICE_ONLY, "visit"),
    "jobs:visit_unassign": button(OFFICE_ONLY, "visit"),
    "jobs:visit_follow": button(OFFICE_ONLY, "visit"),
    "jobs:visit_promise": button(OFFICE_ONLY, "visit"),
    "jobs:visit_cancel": page(OFFICE_ONLY, "visit"),
    "jobs:checklist_list": page(OFFICE_ONLY),
    "jobs:checklist_edit": page(OFFICE_ONLY, "kind"),
    "jobs:technician_list": page(OFFICE_ONLY),
    "jobs:skill_new": page(OFFICE_ONLY),
    "jobs:skill_edit": page(OFFICE_ONLY, "skill"),
    "jobs:skill_delete": page(OFFICE_ONLY, "skill"),
    "jobs:closed_days_new": page(OFFICE_ONLY),
    "jobs:closed_days_edit": page(OFFICE_ONLY, "closed_days"),
    "jobs:closed_days_delete": page(OFFICE_ONLY, "closed_days"),
    "jobs:technician_edit": page(OFFICE_ONLY, "technician"),
    "jobs:absence_new": page(OFFICE_ONLY, "technician"),
    "jobs:absence_delete": button(OFFICE_ONLY, "technician", "absence"),
}
REPORTS = {
    "reports:report_list": read(OFFICE_ONLY),
    "reports:site_reports": read(OFFICE_ONLY, "site"),
    "reports:report_make": button(OFFICE_ONLY, "site"),
    "reports:report_send": page(OFFICE_ONLY, "report"),
    "reports:document": read("-++NN+N", "report"),
    "reports:delivery_decide": button(OFFICE_ONLY, "delivery"),
    "reports:service_sheet": read(STAFF_ROWS, "visit", "blank"),
    "reports:run_sheet": read(STAFF_ROWS, "technician", "date"),
    "reports:controller_card": read(STAFF_ROWS, "controller"),
    # Nothing is asked for: absent for all.
    "reports:one_off_run_sheet": read("-NNNN--", "controller"),
    "reports:wiring_card": read(STAFF_ROWS, "controller"),
    "reports:client_home": read("-----++"),
    "reports:proposal_send": page(OFFICE_ONLY, "draft_proposal"),
    "reports:proposal_pdf": read(OFFICE_ONLY, "draft_proposal"),
    "reports:proposal_mail": read(OFFICE_ONLY, "sent_proposal"),
    "reports:proposal_answer": page(OFFICE_ONLY, "sent_proposal"),
    "reports:work": read(OFFICE_ONLY),
    "reports:work_file": read(OFFICE_ONLY, "fleet_form"),
    "reports:report_test": button(OFFICE_ONLY, "report"),
    "reports:link_make": button(OFFICE_ONLY, "report"),
    "reports:link_revoke": button(OFFICE_ONLY, "share_link"),
    "reports:send_all": page(OFFICE_ONLY),
    "reports:bulk_list": page(OFFICE_ONLY),
    "reports:bulk": read(OFFICE_ONLY, "bulk_job"),
    "reports:bulk_change": button(OFFICE_ONLY, "bulk_job"),
    "reports:bulk_file": read(OFFICE_ONLY, "bulk_job"),
    "reports:fleet": read(OFFICE_ONLY),
    "reports:fleet_file": read(OFFICE_ONLY, "fleet_form"),
    # Open without signing in, closed by a token, a cookie or a signature that nobody here has.
    "reports:shared_enter": Route("NNNNNNN", OPEN, ("token",)),
    "reports:shared": Route("NNNNNNN", OPEN, ("link_uuid",)),
    "reports:shared_pdf": Route("NNNNNNN", OPEN, ("link_uuid",)),
    "reports:shared_answer": Route(OPEN, "NNNNNNN", ("link_uuid",)),
    "reports:unsubscribe": Route("NNNNNNN", "NNNNNNN", ("token",)),
    "reports:bounces": Route(OPEN, "NNNNNNN"),
    "reports:appointment_list": read(OFFICE_ONLY),
    "reports:appointments_tell": button(OFFICE_ONLY),
    "reports:client_called": button(OFFICE_ONLY, "visit"),
    "reports:appointment_mail": page(OFFICE_ONLY, "appointment_mail"),
}
REGISTER_ROW = {"listed": ALL_ANY, "rows": ALL_ROWS, "post": OFFICE_ONLY, "change": OFFICE_ONLY}
API = {
    **resource("clients", "client", listed="-++--++", rows="-++--+N", post=OFFICE_ONLY, change=OFFICE_ONLY),
    **resource("sites", "site", **REGISTER_ROW),
    **resource("supplies", "supply", **REGISTER_ROW),
    **resource("pumps", "pump", **REGISTER_ROW),
    **resource("backflow-assemblies", "backflow", **REGISTER_ROW),
    **resource("controllers", "controller", **REGISTER_ROW),
    **resource("valves", "valve", **REGISTER_ROW),
    **resource("zones", "zone", **REGISTER_ROW),
    **resource("meters", "meter", **REGISTER_ROW),
    **resource("meter-readings", "reading", **REGISTER_ROW),
    **resource("state-changes", "state_change", listed=ALL_ANY, rows=ALL_ROWS),
    **resource("photos", "photo", listed=STAFF_ANY, rows=STAFF_ROWS),
    **resource("stations", "station", listed=STAFF_ANY, rows=STAFF_ANY, post=OFFICE_ONLY, change=OFFICE_ONLY),
    **resource("tariffs", "tariff", listed=OFFICE_ONLY, rows=OFFICE_ONLY, post=OFFICE_ONLY, change=OFFICE_ONLY),
    **resource("users", "client_user", listed=OFFICE_ONLY, rows=OFFICE_ONLY),
    **resource("weather-days", "weather_day", listed=STAFF_ANY, rows=STAFF_ANY),
    **resource("forecast-days", "forecast_day", listed=STAFF_ANY, rows=STAFF_ANY),
    **resource("schedules", "schedule", listed=ALL_ANY, rows=ALL_ROWS, post=OFFICE_ONLY),
    "api-schedules-publish": Route(ALL_ANY, OFFICE_ONLY, ("draft",)),
    # Nothing was computed for this schedule: absent for all who may ask.
    "api-schedules-explained": Route("-NNNNNN", OFFICE_ONLY, ("schedule", "zone", "month")),
    **resource("pauses", "pause", **REGISTER_ROW),
    **resource(
        "service-plans", "service_plan", listed=OFFICE_ONLY, rows=OFFICE_ONLY, post=OFFICE_ONLY, change=OFFICE_ONLY
    ),
    **resource(
        "season-windows", "window", listed=OFFICE_ONLY, rows=OFFICE_ONLY, post=OFFICE_ONLY, change=OFFICE_ONLY
    ),
    # A visit is seen by those who may see it; a client sees it once it is finished.
    **resource("visits", "visit", listed=ALL_ANY, rows="-+++NNN", post=STAFF_ANY),
    "api-visits-start": Route(ALL_ANY, STAFF_ROWS, ("visit",)),
    **resource("measurements", "measurement", listed=STAFF_ANY, rows=STAFF_ROWS, post=STAFF_ANY),
    **resource("faults", "fault", listed=STAFF_ANY, rows=STAFF_ROWS, post=STAFF_ANY),
    **resource(
        "price-items", "price_item", listed=OFFICE_ONLY, rows=OFFICE_ONLY, post=OFFICE_ONLY, change=OFFICE_ONLY
    ),
    **resource("proposals", "sent_proposal", listed=OFFICE_ONLY, rows=OFFICE_ONLY),
    **resource("work-records", "work_record", listed=OFFICE_ONLY, rows=OFFICE_ONLY),
    **resource("documents", "report", listed=ALL_ANY, rows="-++NN+N"),
    **resource("deliveries", "delivery", listed=OFFICE_ONLY, rows=OFFICE_ONLY),
}
API["api-photos-detail"] = Route(STAFF_ROWS, NOBODY, ("photo",), patch=NOBODY, delete=OFFICE_ONLY)
PARTS = {"config": CONFIG, "sites": SITES, "scheduling": SCHEDULING, "jobs": JOBS, "reports": REPORTS, "api": API}


def route_names(resolver: URLResolver | None = None, prefix: str = "") -> set[str]:
    """Names of all routes but the Django admin's, which has its own guard and its own test."""
    found: set[str] = set()
    for pattern in (resolver or get_resolver()).url_patterns:
        if not isinstance(pattern, URLResolver):
            found.add(f"{prefix}{pattern.name}")
        elif pattern.namespace != "admin":
            found |= route_names(pattern, f"{prefix}{pattern.namespace}:" if pattern.namespace else prefix)
    return found


def one_pixel_png() -> bytes:
    file = io.BytesIO()
    Image.new("RGB", (1, 1)).save(file, "PNG")
    return file.getvalue()


def signed_in(person) -> Client:
    browser = Client(raise_request_exception=False)
    if person is not None:
        browser.force_login(person)
    return browser


@pytest.fixture
def world(owner, office, technician, other_technician, site, client_user, stranger):
    """Hazel's site with one row of everything, and one person of every column."""
    noon = dt.datetime(2026, 6, 1, 12, tzinfo=dt.UTC)
    today = dt.date(2026, 6, 1)
    supply = site.supplies.get()
    controller = site.controllers.get()
    valve = controller.valves.first()
    meter = factories.MeterFactory(site=site)
    tariff = Tariff.objects.create(name="Hazel tariff")
    checklist = ChecklistTemplate.objects.get(kind="startup", current=True)
    visit = factories.VisitFactory(
        site=site,
        checklist=checklist,
        technician=technician,
        planned_on=today,
        state=Visit.State.STARTED,
        started_at=noon,
    )
    schedule = SeasonSchedule.objects.create(
        site=site, season_year=2026, revision=1, state="published", published_at=noon, month=6, week_starts_on=today
    )
    draft = SeasonSchedule.objects.create(site=site, season_year=2026, revision=2, month=6, week_starts_on=today)
    report = Document.objects.create(
        kind="season_report", site=site, season_year=2026, version=1, title="Hazel report", published_at=noon
    )
    report.pdf.save("report.pdf", ContentFile(b"%PDF-1.7 Hazel"))
    upload = SimpleUploadedFile("gate.png", one_pixel_png(), "image/png")
    link = ShareLink.objects.create(
        document=report, token_sha256="0" * 64, expires_at=dt.datetime(2100, 1, 1, tzinfo=dt.UTC)
    )
    repair_visit = factories.VisitFactory(
        site=site, kind="repair", technician=technician, planned_on=today, state="finished", started_at=noon,
        finished_at=noon,
    )  # fmt: skip
    draft_proposal, sent_proposal = (factories.ProposalFactory(site=site, number=number) for number in (1, 2))
    Proposal.objects.filter(pk=sent_proposal.pk).update(state="sent", sent_at=noon)
    Document.objects.create(
        kind="proposal", site=site, season_year=2026, version=1, title="Hazel proposal", proposal=sent_proposal
    )
    bulk_job = BulkJob.objects.create(
        kind="sheets", shape="zip", title="Hazel", season_year=2026, prepared_on=today, state="done", total=1
    )
    bulk_job.file.save("sheets.zip", ContentFile(b"Hazel"))
    photo = store_photo(site=site, upload=upload, caption="Hazel gate", taken_at=noon, by=office)
    people = {
        "A": None, "W": owner, "O": office, "T": technician, "U": other_technician, "C": client_user, "S": stranger,
    }  # fmt: skip
    return SimpleNamespace(
        browsers={column: signed_in(person) for column, person in people.items()},
        rows={
            "site": site, "client": site.client, "supply": supply, "controller": controller, "valve": valve,
            "dry_supply": factories.WaterSupplyFactory(site=site, kind="pump", name="Pond"),
            "pump": factories.PumpFactory(supply=factories.WaterSupplyFactory(site=site, kind="pump", name="Well")),
            "zone": site.zones.first(), "backflow": factories.BackflowAssemblyFactory(site=site),
            "state_change": factories.StateChangeFactory(site=site),
            "meter": meter, "reading": factories.MeterReadingFactory(meter=meter), "photo": photo, "tariff": tariff,
            "station": site.weather_station, "client_user": client_user, "technician": technician,
            "weather_day": DailyWeather.objects.create(station=site.weather_station, date=today),
            "forecast_day": ForecastDay.objects.create(station=site.weather_station, date=today, eto_mm=3),
            "weather_import": WeatherImport.objects.create(
                station=site.weather_station, file_name="days.csv", file_format="rillbook", rows_read=1, rows_stored=1
            ),
            "schedule": schedule, "draft": draft,
            "draft_program": Program.objects.create(
                schedule=draft, controller=controller, name="A", starts_at=dt.time(5)
            ),
            "cans": CatchCanTest.objects.create(
                zone=site.zones.first(), tested_on=today, minutes=10, mouth_cm2=85, catches_ml=[20, 18, 22, 20]
            ),
            "pause": WateringPause.objects.create(site=site, starts_on=today, ends_on=today, reason="rain"),
            "visit": visit,
            "checklist_item": checklist.items.first(),
            "fault": factories.FaultFactory(site=site, found_on_visit=visit),
            "measurement": ValveMeasurement.objects.create(visit=visit, valve=valve, measured_at=noon),
            "inbox_record": InboxRecord.objects.create(
                uuid=uuid.uuid4(), digest="0", body="{}", received_at=noon, sender=technician, state="for_person"
            ),
            "service_plan": ServicePlan.objects.create(site=site),
            "absence": Absence.objects.create(technician=technician, starts_on=today, ends_on=today),
            "plan_run": PlanRun.objects.create(season_year=2026, kinds=["startup"], first_day=today, last_day=today),
            "window": factories.SeasonWindowFactory(), "report": report,
            "replan": Replan.objects.create(
                upset="frost", detail={"now": noon.isoformat()}, first_day=today, last_day=today, fingerprint="-",
                proposal=dict.fromkeys(("moves", "people", "tell_clients", "tell_technicians", "warnings"), [])
                | {"drive_before_min": 0, "drive_after_min": 0, "travel_source": ""},
            ),
            "appointment_mail": AppointmentMail.objects.create(
                visit=visit, kind="appointment", on_date=today, recipient="h@example.com", message_id="<1@a.com>"
            ),
            "share_link": link,
            "repair_visit": repair_visit,
            "work_record": WorkRecord.objects.create(visit=repair_visit, currency="USD"),
            "price_item": factories.PriceItemFactory(),
            "skill": Skill.objects.create(name="Backflow tester"),
            "closed_days": ClosedDays.objects.create(
                starts_on=dt.date(2031, 1, 1), ends_on=dt.date(2031, 1, 1), reason="New Year"
            ),
            "draft_proposal": draft_proposal, "sent_proposal": sent_proposal,
            "bulk_job": bulk_job,
            "delivery": Delivery.objects.create(
                document=report, recipient="h@example.com", message_id=str(uuid.uuid4())
            ),
        },
        plain={
            "unknown_token": "unknown", "gpx": "gpx", "frost": "frost",
            "month": 6, "blank": "blank", "week": "week", "wide": "wide", "terminals": "terminals", "date": today,
            "some_uuid": uuid.uuid4(), "year": 2026, "kind": "startup",
            "future": dt.date(2099, 6, 1),
            "fleet_form": "csv", "token": "x" * 43, "link_uuid": link.uuid,
        },
    )  # fmt: skip


def letter(response) -> str:
    """What the answer means for the person: `+` let in, `-` kept out, `N` nothing there, else the bare status."""
    code = response.status_code
    if code in (401, 403) or (code == 302 and response.url.startswith("/sign-in/?next=")):
        return "-"
    if code == 404:
        return "N"
    return "+" if code < 400 or code in (400, 405, 409, 422) else str(code)


def answers(world, name: str, route: Route, method: str) -> str:
    """The letters of one route and method for every column; whatever a request changes is undone."""
    args = [world.plain.get(arg, getattr(world.rows.get(arg), "pk", None)) for arg in route.args]
    address = reverse(name, args=args)
    found = ""
    for column, browser in world.browsers.items():
        kind = {"content_type": "application/json"} if method == "patch" else {}
        cookies = browser.cookies.copy()
        with transaction.atomic():
            response = getattr(browser, method)(address, **kind)
            if column in "US" and response.status_code == 200:
                content = b"".join(response) if response.streaming else response.content
                assert b"Hazel" not in content, f"{name} shows Hazel's rows to column {column}"
            transaction.set_rollback(True)
        browser.cookies = cookies  # signing out is undone too
        streams.close(response)
        found += letter(response)
    return found


@pytest.mark.slow
@pytest.mark.one_database
@pytest.mark.parametrize("part", PARTS)
def test_every_route_lets_in_just_whom_the_table_names(part, world):
    wrong = {}
    for name, route in PARTS[part].items():
        for method in ("get", "post", "patch", "delete"):
            expected = getattr(route, method)
            if expected and (found := answers(world, name, route, method)) != expected:
                wrong[f"{method} {name}"] = f"{found}, the table says {expected}"
    assert wrong == {}


def test_every_route_stands_in_the_table():
    table = [name for part in PARTS.values() for name in part]

    assert route_names() == set(table)
    assert len(table) == len(set(table))


def test_a_view_that_nobody_opened_is_closed_to_the_owner_too(owner, rf):
    from django.core.exceptions import PermissionDenied

    from sites.access import ClosedUnlessOpenedMiddleware

    request = rf.get("/sites/")
    request.user = owner
    request.resolver_match = get_resolver().resolve("/sites/")

    with pytest.raises(PermissionDenied):
        ClosedUnlessOpenedMiddleware(lambda _: None).process_view(request, lambda _: None, (), {})


@pytest.mark.parametrize("role", ["owner", "office", "technician", "client"])
def test_the_admin_opens_to_superusers_only(role, client, firm):
    client.force_login(factories.UserFactory(role=role, is_staff=True))
    assert client.get("/admin/").status_code == 403

    client.force_login(factories.UserFactory(role="owner", is_staff=True, is_superuser=True))
    assert client.get("/admin/").status_code == 200


def test_a_deactivated_account_is_out_at_once(client, office):
    client.force_login(office)
    assert client.get("/sites/").status_code == 200

    office.is_active = False
    office.save()

    assert client.get("/sites/").url.startswith("/sign-in/")


def test_a_client_account_without_a_client_sees_nothing(client, site):
    client.force_login(factories.UserFactory(role="client"))

    assert "Hazel" not in client.get("/sites/").content.decode()
    assert client.get(f"/sites/{site.pk}/").status_code == 404


def test_the_office_s_and_access_notes_stay_inside_the_firm(client, site, client_user, technician):
    site.access_notes, site.office_notes = "key under the pot", "pays late"
    site.save()
    factories.VisitFactory(site=site, technician=technician)

    def reads(person) -> tuple[bool, bool]:
        client.force_login(person)
        text = client.get(f"/sites/{site.pk}/").content + client.get(f"/api/sites/{site.pk}/").content
        return b"key under the pot" in text, b"pays late" in text

    assert reads(client_user) == (False, False)
    assert reads(technician) == (True, False)
