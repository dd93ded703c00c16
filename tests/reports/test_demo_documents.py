"""Every document of a small demo firm: it prints the figures of the database, and it is laid out well."""

import datetime as dt
from decimal import ROUND_HALF_UP, Decimal

import pytest
from django.core.management import call_command

from jobs.models import ChecklistAnswer, Fault, Proposal, ValveMeasurement, Visit
from reports.documents.controller_card import controller_card_pdf
from reports.documents.fleet import fleet_pdf, shown
from reports.documents.proposal import proposal_pdf
from reports.documents.run_sheet import run_sheet_pdf
from reports.documents.season_report import season_report_pdf
from reports.documents.service_sheet import service_sheet_pdf
from reports.documents.wiring_card import wiring_card_pdf
from reports.queries.controller_card import controller_card_data, wiring_card_data
from reports.queries.fleet import fleet_data
from reports.queries.letterhead import amount
from reports.queries.proposal import proposal_data
from reports.queries.run_sheet import run_sheet_data
from reports.queries.season_report import season_report_data
from reports.queries.service_sheet import service_sheet_data
from scheduling.models import DailyWeather, SeasonSchedule, ZoneMonth
from scheduling.queries.water_use import site_water_use
from sites.models import Controller, Firm, Site, User, Zone
from tests.reports.documents.page_boxes import into_the_foot, outside, overlapping, squeezed, text_of

TODAY = dt.date(2026, 11, 25)
SITES = 6
LAYOUT = (outside, overlapping, into_the_foot)

pytestmark = [pytest.mark.slow, pytest.mark.django_db, pytest.mark.one_database]


@pytest.fixture(scope="module")
def demo(django_db_setup, django_db_blocker, tmp_path_factory):
    """The demo firm, made once for this file and rolled back after it."""
    from django.db import transaction
    from django.test import override_settings

    media = tmp_path_factory.mktemp("media")
    with (
        django_db_blocker.unblock(),
        override_settings(MEDIA_ROOT=media),
        transaction.atomic(),
    ):
        call_command("demo", "--sites", str(SITES), verbosity=0)
        yield media
        transaction.set_rollback(True)


@pytest.fixture(autouse=True)
def demo_photos(own_files, settings, demo):
    """Each test has a folder of its own for files; here it is the one the demo's photos are in."""
    settings.MEDIA_ROOT = demo


def laid_out_badly(pdf: bytes) -> list:
    return [found for check in LAYOUT for found in check(pdf)]


def missing(given: list[str], pdf: bytes) -> list[str]:
    text = squeezed(text_of(pdf))
    return [figure for figure in given if squeezed(figure) not in text]


def test_every_blank_sheet_tells_the_site_and_carries_its_cautions(demo):
    for visit in Visit.objects.exclude(state="cancelled").select_related("site__client", "technician"):
        pdf = service_sheet_pdf(service_sheet_data(visit, completed=False))
        zones = Zone.objects.filter(site=visit.site, in_use=True).values_list("name", flat=True)
        given = [visit.site.name, visit.site.address, visit.site.access_notes, *zones]
        given += [
            fault.description for fault in Fault.objects.open().filter(site=visit.site).exclude(found_on_visit=visit)
        ]
        assert missing(given, pdf) == [], visit
        assert laid_out_badly(pdf) == [], visit


def test_every_record_prints_what_was_measured_answered_and_found(demo):
    firm = Firm.current()
    finished = Visit.objects.filter(state="finished").select_related("site__client", "technician")
    assert finished.exists()
    for visit in finished:
        pdf = service_sheet_pdf(service_sheet_data(visit, completed=True))
        given = [f"{row.coil_resistance_ohm:.1f}" for row in _last_measured(visit) if row.coil_resistance_ohm]
        given += [fault.repair_note for fault in visit.faults_repaired.all()]
        answers = ChecklistAnswer.objects.filter(visit=visit, item__answer="number").select_related("item")
        given += [amount(row.number, row.item.unit_kind, firm) for row in answers if row.number is not None]
        assert missing(given, pdf) == [], visit
        assert laid_out_badly(pdf) == [], visit
        if visit.site.access_notes:
            assert missing([visit.site.access_notes], pdf) != [], f"{visit}: access notes on the client's copy"


def _last_measured(visit):
    rows = {}
    for row in ValveMeasurement.objects.filter(visit=visit, valve__is_master=False).order_by("measured_at", "pk"):
        rows[row.valve_id] = row
    return rows.values()


@pytest.mark.parametrize("language", ["en", "de"])
def test_every_season_report_prints_the_season_of_its_site(demo, language):
    firm = Firm.current()
    for site in Site.objects.current().select_related("client", "weather_station"):
        site.client.language = language
        data = season_report_data(site, season_year=2026, prepared_on=TODAY)
        pdf = season_report_pdf(data)
        use = site_water_use(site, season_year=2026, until=TODAY)
        total_m3 = use.used_l / 1000
        figures = [f"{total_m3:,.0f}" if total_m3 >= 10 else f"{total_m3:.1f}"]
        rain = DailyWeather.objects.filter(station=site.weather_station, date__year=2026, date__month=7)
        figures.append(amount(sum(row.precipitation_mm for row in rain), "depth", firm, with_unit=False))
        if use.cost:
            figures.append(f"{use.cost.total:,.2f}")
        if language == "de":
            figures = [figure.translate({ord(","): ".", ord("."): ","}) for figure in figures]
        assert missing([site.name, *figures], pdf) == [], site
        assert laid_out_badly(pdf) == [], site


ENGLISH = (
    " the ",
    " of ",
    " and ",
    "usual for",
    "assumed",
    "common practice",
    "repaired",
    "Zone has",
    "between",
    "Water",
)


def test_a_german_report_has_no_english_left_but_names(demo):
    for site in Site.objects.current().select_related("client", "weather_station"):
        site.client.language = "de"
        text = text_of(season_report_pdf(season_report_data(site, season_year=2026, prepared_on=TODAY)))
        names = [
            Firm.current().name,
            Firm.current().licence_text,
            site.name,
            site.client.name,
            site.weather_station.name,
        ]
        names += [site.address, site.tariff.name if site.tariff else ""]
        names += list(Zone.objects.filter(site=site).values_list("name", flat=True))
        # What a technician typed stays as it was typed.
        names += list(Fault.objects.filter(site=site).values_list("part_needed", flat=True))
        for name in sorted(filter(None, names), key=len, reverse=True):
            text = text.replace(" ".join(name.split()), "·")
        assert [word for word in ENGLISH if word in text] == [], site


def test_the_summary_of_the_firm_prints_its_tables(demo):
    fleet = fleet_data(season_year=2026, today=TODAY)
    pdf = fleet_pdf(fleet)

    assert missing([shown(value) for table in fleet.tables for row in table.rows for value in row], pdf) == []
    assert laid_out_badly(pdf) == []


def test_every_run_sheet_tells_its_stops_in_order(demo):
    planned = Visit.objects.filter(planned_on__gte=TODAY, technician__isnull=False)
    days = set(planned.values_list("technician", "planned_on"))
    assert days
    for technician, date in sorted(days)[:12]:
        person = User.objects.get(pk=technician)
        data = run_sheet_data(person, date)
        pdf = run_sheet_pdf(data)
        given = [str(person), data.driving, *data.warnings]
        visits = Visit.objects.filter(technician=person, planned_on=date).exclude(state="cancelled")
        for visit in visits.select_related("site__client"):
            given += [visit.site.name, visit.site.client.phone, visit.get_kind_display(), f"{visit.service_min} min"]
            given += [f"{visit.arrives_at:%H:%M}"] if visit.arrives_at else []
        assert missing([figure for figure in given if figure], pdf) == [], (person, date)
        assert laid_out_badly(pdf) == [], (person, date)
        arrivals = [stop.arrive for stop in data.stops if stop.arrive]
        assert arrivals == sorted(arrivals), (person, date)


def test_every_controller_has_its_cards(demo):
    for controller in Controller.objects.select_related("site"):
        card = controller_card_pdf(controller_card_data(controller))
        wiring = wiring_card_pdf(wiring_card_data(controller, TODAY))
        zones = list(Zone.objects.filter(valve__controller=controller, in_use=True))
        schedule = SeasonSchedule.objects.published().filter(site=controller.site).first()
        months = ZoneMonth.objects.filter(schedule=schedule, zone__in=zones, run_time_min__gt=0)
        minutes = [f"{row.run_time_min:.0f}×{row.days_per_week:.2g}" for row in months]
        assert missing([controller.site.name, *(zone.name for zone in zones), *minutes], card) == [], controller
        valves = controller.valves.filter(terminal__isnull=False, wire_length_m__isnull=False)
        assert missing([valve.name for valve in valves], wiring) == [], controller
        # Cards have narrower margins than sheets; nothing may lie on anything else all the same.
        assert overlapping(card) == overlapping(wiring) == [], controller


def test_every_proposal_prints_its_lines_and_their_total(demo):
    rows = Proposal.objects.exclude(state="draft")
    assert rows.exists()
    for row in rows:
        pdf = proposal_pdf(proposal_data(row, today=TODAY))
        lines = list(row.lines.all())
        total = sum((line.quantity * line.unit_price).quantize(Decimal("0.01"), ROUND_HALF_UP) for line in lines)
        assert missing([row.site.name, f"{total:,.2f}", *(line.text for line in lines)], pdf) == [], row
        assert laid_out_badly(pdf) == [], row
