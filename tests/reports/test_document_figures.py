"""What stands on paper comes out of the database in the firm's units and on the site's own dates."""

import datetime as dt

import pytest

from jobs.actions.field import record_measurement
from jobs.models import Fault, Visit
from reports.documents.season_report import season_report_pdf
from reports.documents.service_sheet import service_sheet_pdf
from reports.queries.season_report import default_inputs, season_report_data
from reports.queries.service_sheet import service_sheet_data
from scheduling.actions.schedules import compute_draft, publish
from scheduling.core.water.derivation import Derivation, Input
from scheduling.models import DailyWeather
from scheduling.queries.explain import Explained, Figure
from scheduling.queries.water_use import site_water_use
from scheduling.queries.what_if import what_ifs
from sites.models import StateChange, Zone
from tests import factories
from tests.reports.documents.page_boxes import text_of

# Half past five in the afternoon in Seattle is the next day in UTC.
EVENING = dt.datetime(2015, 7, 16, 0, 30, tzinfo=dt.UTC)


@pytest.fixture
def finished(site, technician):
    visit = factories.VisitFactory(
        site=site,
        kind="mid_season",
        season_year=2015,
        technician=technician,
        planned_on=dt.date(2015, 7, 15),
        state=Visit.State.FINISHED,
        started_at=EVENING - dt.timedelta(hours=1),
        finished_at=EVENING,
    )
    return Visit.objects.get(pk=visit.pk)


@pytest.fixture
def us_firm(firm):
    firm.units = "us"
    firm.save()


def test_an_evening_visit_and_fault_stand_on_the_sites_own_date(finished):
    Fault.objects.create(site=finished.site, kind="pipe_leak", severity="water_loss", found_at=EVENING)

    report = season_report_data(finished.site, season_year=2015, prepared_on=dt.date(2015, 12, 1))

    assert [visit.date for visit in report.visits] == ["15 July 2015"]
    assert [fault.found for fault in report.faults] == ["15 July 2015"]
    sheet = service_sheet_data(finished, completed=False)
    assert [fault.since for fault in sheet.open_faults] == ["15 July 2015"]


def test_a_diagnosis_on_a_sheet_is_in_the_firms_units(finished, us_firm):
    """75 % of 18.9 L/min (5 gpm) against 10 gpm known: words from the core, figures of the firm."""
    zone = finished.site.zones.first()
    zone.flow_l_min = 37.854  # 10 US gallons
    zone.save()
    record_measurement(
        visit=finished,
        valve=zone.valve,
        values={"flow_l_min": 18.927, "coil_resistance_ohm": 10.0, "temperature_c": 25.0},
        by=None,
    )

    told = "; ".join(row.diagnosis for row in service_sheet_data(finished, completed=True).zones)

    assert "5.0 gpm against 10.0 gpm expected" in told
    assert "at 77 °F" in told
    assert "L/min" not in told
    assert "°C" not in told


def test_what_a_report_assumes_is_in_the_firms_units_and_never_rounded_to_nothing():
    inputs = (
        Input("root depth", 0.15, "m", "default", "usual"),
        Input("application rate", 45.0, "mm/h", "default", "usual"),
        Input("soil", "loam", "", "default", "assumed"),
        Input("root depth", 0.3, "m", "measured"),
    )
    figure = Figure("raw_mm", "Readily available water", Derivation(10.0, "mm", "", inputs, "KB-90"))
    explained = Explained(zone=None, month=7, figures=(figure,), week=())

    assert [value for _, value, _ in default_inputs(explained, "us")] == ["0.49 ft", "1.77 in/h", "loam"]
    assert [value for _, value, _ in default_inputs(explained, "metric")] == ["0.15 m", "45.0 mm/h", "loam"]


def test_an_advice_names_what_the_season_computed_again_would_save(seattle, site):
    """Savings are the share of the what-if of the water really used; what saves next to nothing is not advised."""
    site.refresh_from_db()  # times as the database gives them
    zones = Zone.objects.filter(site=site)
    zones.update(planting="shrubs", emitter="fixed_spray", distribution_uniformity=0.5, flow_l_min=20)
    draft = compute_draft(site=site, today=dt.date(2015, 4, 1), by=None, month=4)
    publish(schedule=draft, by=None, on=dt.date(2015, 4, 1))
    until = dt.date(2015, 12, 1)
    used_l = site_water_use(site, season_year=2015, until=until).used_l
    saved = {run.change.key: run for run in what_ifs(site, 2015, ("even", "mulch", "drip"), until=until)}
    assert [key for key, run in saved.items() if run.after.litres <= 0.97 * run.before.litres] == [*saved]

    advice = season_report_data(site, season_year=2015, prepared_on=dt.date(2015, 12, 1)).recommendations

    for key, title in (("drip", "Drip instead"), ("even", "Repair heads"), ("mulch", "Mulch beds")):
        [line] = [line for line in advice if line.title.startswith(title)]
        share = 1 - saved[key].after.litres / saved[key].before.litres
        # No tariff: nothing is said of money.
        assert float(line.saving.removesuffix(" m³")) == pytest.approx(share * used_l / 1000, abs=0.5)
        assert f"{100 * share:.0f} % less; that share of the {used_l / 1000:.0f} m³ used" in line.reason
    StateChange.objects.create(site=site, state="off", changed_on=dt.date(2015, 1, 1), reason="not watered")
    dry = season_report_data(site, season_year=2015, prepared_on=dt.date(2015, 12, 1))
    assert not [line for line in dry.recommendations if line.saving], "nothing was used, so nothing is saved"
    StateChange.objects.all().delete()
    zones.update(planting="cool_turf", distribution_uniformity=0.8)
    again = season_report_data(site, season_year=2015, prepared_on=dt.date(2015, 12, 1)).recommendations
    assert not [line for line in again if line.saving]


def test_a_winterisation_record_prints_each_zones_air_and_marks_what_was_too_much(finished):
    """Drip takes at most 207 kPa, unknown pipe counts as drip (jobs.core.cautions; common practice, no source)."""
    Visit.objects.filter(pk=finished.pk).update(kind="winterisation")
    finished.refresh_from_db()
    first, second = [zone.valve for zone in finished.site.zones.order_by("number")][:2]
    record_measurement(visit=finished, valve=first, values={"air_pressure_kpa": 180.0, "air_min": 3.5}, by=None)
    record_measurement(visit=finished, valve=second, values={"air_pressure_kpa": 300.0, "air_min": 2.0}, by=None)

    air = [(row.now.air_pressure, row.now.air_minutes) for row in service_sheet_data(finished, completed=True).zones]

    assert air == [("180", "3.5"), ("300 OVER", "2.0")]
    assert "300 OVER" in text_of(service_sheet_pdf(service_sheet_data(finished, completed=True)))


def test_days_without_rain_on_record_are_marked_as_estimated(seattle, site):
    """July's one missing day counts as the mean of the other thirty: 31/30 of what was recorded."""
    site.refresh_from_db()
    july = DailyWeather.objects.filter(station=seattle, date__year=2015, date__month=7)
    july.filter(date=dt.date(2015, 7, 10)).update(precipitation_mm=None)
    recorded_mm = sum(row.precipitation_mm for row in july if row.precipitation_mm is not None)

    report = season_report_data(site, season_year=2015, prepared_on=dt.date(2015, 8, 31))

    assert report.weather_months[6].rain.text == f"≈ {recorded_mm * 31 / 30:.1f}"
    assert "Jul: 30/31 known" in report.weather_estimated
    assert "≈" not in report.weather_months[5].rain.text


def test_a_month_that_is_not_over_shows_what_was_registered_so_far(seattle, site):
    site.refresh_from_db()
    DailyWeather.objects.filter(station=seattle, date__gte=dt.date(2015, 8, 20)).delete()
    august = DailyWeather.objects.filter(station=seattle, date__year=2015, date__month=8)

    report = season_report_data(site, season_year=2015, prepared_on=dt.date(2015, 8, 20))

    assert report.weather_months[7].rain.text == f"{sum(row.precipitation_mm for row in august):.1f}"
    assert report.weather_estimated.startswith("Aug up to 19 Aug")


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_report_leads_from_planned_to_used_water_line_by_line(seattle, site, language):
    """Published all July, off from the 21st: the printed lines add up, rounded as they are."""
    begins = dt.date(2015, 7, 1)
    publish(schedule=compute_draft(site=site, today=begins, by=None, month=7), by=None, on=begins)
    StateChange.objects.create(site=site, state="off", changed_on=dt.date(2015, 7, 21), reason="sold")
    meter = factories.MeterFactory(site=site)
    for day, register in ((1, 100), (21, 130)):
        factories.MeterReadingFactory(meter=meter, read_on=dt.date(2015, 7, day), counter=register)
    site.refresh_from_db()
    site.client.language = language

    report = season_report_data(site, season_year=2015, prepared_on=dt.date(2015, 7, 31))

    use = site_water_use(site, season_year=2015, until=dt.date(2015, 7, 31))
    amounts = [line.amount.replace("−", "-") for line in report.bridge]
    planned, off, expected, rest, used = (float(text.replace(",", ".")) for text in amounts)
    assert (planned + off, expected + rest) == (pytest.approx(expected, abs=1), pytest.approx(used, abs=1))
    assert used == pytest.approx(use.used_l / 1000, abs=0.5) == pytest.approx(30, abs=0.5)
    assert report.headlines[0].value.startswith("30")
    text = "".join(text_of(season_report_pdf(report)).split())
    assert all("".join(line.label.split()) in text for line in report.bridge)
