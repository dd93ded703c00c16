"""One zone's July followed by hand from the published formulas, on the measured Seattle series.

Nothing here uses the water core: FAO-56 Eq. 6 with the estimates of chapter 3 for missing humidity (Eq. 48) and
radiation (Eq. 50, coastal), the USDA-SCS effective rain (NEH Part 623 chapter 2, Eq. 2-84, 2-85), the scheduling
multiplier (Irrigation Association, March 2005; constants from memory). Turf Kc of July:
Meyer, Gibeault, Youngner 1985.
"""

import csv
import datetime as dt
import io
import math

import pytest

from scheduling.actions.schedules import compute_draft, publish
from scheduling.core.water.clock import spread_weekdays
from scheduling.queries.explain import explain
from scheduling.queries.water_use import site_water_use
from tests import factories

LATITUDE, ELEVATION_M, WIND_HEIGHT_M = 47.45, 130.0, 10.0  # the factory's station
KC_JULY = 0.94
RATE_MM_H, DU, FLOW_L_MIN, ROOT_M, MAD, LOAM_MM_M = 12.0, 0.65, 20.0, 0.15, 0.5, 170.0


def reference_et_mm(day: dt.date, tmax: float, tmin: float, wind_m_s: float) -> float:
    def e0(t: float) -> float:
        return 0.6108 * math.exp(17.27 * t / (t + 237.3))

    j, phi = day.timetuple().tm_yday, math.radians(LATITUDE)
    dr = 1 + 0.033 * math.cos(2 * math.pi * j / 365)
    decl = 0.409 * math.sin(2 * math.pi * j / 365 - 1.39)
    ws = math.acos(-math.tan(phi) * math.tan(decl))
    ra = (24 * 60 / math.pi) * 0.0820 * dr * (
        ws * math.sin(phi) * math.sin(decl) + math.cos(phi) * math.cos(decl) * math.sin(ws)
    )  # fmt: skip
    rso = (0.75 + 2e-5 * ELEVATION_M) * ra
    rs = min(0.19 * math.sqrt(tmax - tmin) * ra, rso)
    ea = e0(tmin)
    kelvin4 = ((tmax + 273.16) ** 4 + (tmin + 273.16) ** 4) / 2
    rnl = 4.903e-9 * kelvin4 * (0.34 - 0.14 * math.sqrt(ea)) * (1.35 * rs / rso - 0.35)
    rn = 0.77 * rs - rnl
    t = (tmax + tmin) / 2
    slope = 4098 * e0(t) / (t + 237.3) ** 2
    gamma = 0.665e-3 * 101.3 * ((293 - 0.0065 * ELEVATION_M) / 293) ** 5.26
    u2 = wind_m_s * 4.87 / math.log(67.8 * WIND_HEIGHT_M - 5.42)
    u2 = max(u2, 0.5)
    deficit = (e0(tmax) + e0(tmin)) / 2 - ea
    top = 0.408 * slope * rn + gamma * 900 / (t + 273) * u2 * deficit
    return max(0.0, top / (slope + gamma * (1 + 0.34 * u2)))


@pytest.fixture(scope="module")
def july_normal(seattle_text):
    """Mean July totals of ET and rain over the four years, mm, straight from the file."""
    et: dict[int, float] = {}
    rain: dict[int, float] = {}
    for row in csv.DictReader(io.StringIO(seattle_text)):
        day = dt.date.fromisoformat(row["date"].replace("/", "-"))
        if day.month == 7:
            value = reference_et_mm(day, float(row["temp_max"]), float(row["temp_min"]), float(row["wind"]))
            et[day.year] = et.get(day.year, 0.0) + value
            rain[day.year] = rain.get(day.year, 0.0) + float(row["precipitation"])
    return sum(et.values()) / 4, sum(rain.values()) / 4


def scs_rain_mm(rain: float, demand: float) -> float:
    storage_in = 0.5 * LOAM_MM_M * ROOT_M / 25.4
    factor = 0.531747 + 0.295164 * storage_in - 0.057697 * storage_in**2 + 0.003804 * storage_in**3
    return max(0.0, min(factor * (1.25 * rain**0.824 - 2.93) * 10 ** (0.000955 * demand), rain, demand))


@pytest.fixture
def draft(seattle, site):
    """Hazel's site computed for the July normal of 2015."""
    return compute_draft(site=site, today=dt.date(2015, 7, 15), by=None, month=7)


def test_july_of_a_lawn_agrees_with_the_published_formulas(draft, july_normal):
    et, rain = july_normal
    demand = KC_JULY * et
    net = demand - scs_rain_mm(rain, demand)
    minutes_week = 60 * 7 * net / 31 / (0.4 + 0.6 * DU) / RATE_MM_H
    days = math.ceil(7 / math.floor(MAD * LOAM_MM_M * ROOT_M / (demand / 31)))
    run_time = math.floor(minutes_week / days + 0.5)

    july = draft.zone_months.get(zone__number=1, month=7)
    assert july.reference_et_mm == pytest.approx(et, abs=0.02)
    assert july.effective_rain_mm == pytest.approx(scs_rain_mm(rain, demand), abs=0.02)
    assert july.net_need_mm == pytest.approx(net, abs=0.03)
    assert july.derivation["exact_run_time_min_per_week"] == pytest.approx(minutes_week, abs=0.05)
    assert (july.days_per_week, july.run_time_min) == (days, run_time)
    assert july.water_l == pytest.approx(run_time * days * FLOW_L_MIN * 31 / 7)
    assert july.percent_of_peak == 100


def test_the_program_holds_the_same_minutes_inside_the_site_s_window(draft):
    (program,) = draft.programs.all()
    july = draft.zone_months.get(zone__number=1, month=7)
    assert [step.run_time_min for step in program.steps.all()] == [july.run_time_min] * 2
    assert len(program.weekdays) == july.days_per_week
    assert program.starts_at < dt.time(8)
    assert draft.litres_per_week == july.run_time_min * july.days_per_week * FLOW_L_MIN * 2


def test_the_explained_figure_is_the_stored_one_and_names_its_defaults(draft):
    zone = draft.site.zones.get(number=1)
    explained = explain(draft, zone, 7)
    july = draft.zone_months.get(zone=zone, month=7)
    figures = {figure.key: figure.derivation for figure in explained.figures}
    assert figures["et_mm"].value == july.reference_et_mm
    assert figures["net_need_mm"].value == july.net_need_mm
    assert figures["run_time_min"].value == july.run_time_min
    assert figures["litres"].value == july.water_l
    assert "root depth" in explained.defaults
    assert all(item.origin != "default" for item in figures["scheduling_multiplier"].inputs)


def test_a_figure_keeps_its_explanation_when_the_register_changes_later(draft):
    zone = draft.site.zones.get(number=1)
    zone.application_rate_mm_h = 50.0
    zone.save()
    rate = {figure.key: figure.derivation for figure in explain(draft, zone, 7).figures}["application_rate_mm_h"]
    assert rate.value == 12.0


def test_the_season_s_water_follows_from_import_to_use(draft, office):
    publish(schedule=draft, by=office, on=dt.date(2015, 7, 1))
    july = draft.zone_months.get(zone__number=1, month=7)
    august = draft.zone_months.get(zone__number=1, month=8)
    (program,) = draft.programs.all()
    days_in_july = sum(dt.date(2015, 7, day).weekday() in program.weekdays for day in range(1, 32))
    use = site_water_use(draft.site, season_year=2015, until=dt.date(2015, 8, 31))
    assert use.zones[0].litres_by_month[6] == days_in_july * july.run_time_min * FLOW_L_MIN
    in_august = spread_weekdays(frozenset(range(7)), round(august.days_per_week), dict.fromkeys(range(7), 0.0))
    days_in_august = sum(dt.date(2015, 8, day).weekday() in in_august for day in range(1, 32))
    assert use.zones[0].litres_by_month[7] == days_in_august * august.run_time_min * FLOW_L_MIN
    assert abs(days_in_august - august.days_per_week * 31 / 7) < 1
    assert use.zones[0].litres_by_month[5] == 0
    assert use.used_l == pytest.approx(2 * use.zones[0].litres)
    assert use.scheduled_days == 62
    assert use.against_last_year is None


def test_a_zone_with_its_own_rate_and_one_by_flow_over_area_need_the_same_depth(seattle):
    site = factories.make_small_site("Rate and flow")
    first, second = site.zones.all()
    second.application_rate_mm_h = None
    second.save()
    draft = compute_draft(site=site, today=dt.date(2015, 7, 15), by=None, month=7)
    by_rate = draft.zone_months.get(zone=first, month=7)
    by_flow = draft.zone_months.get(zone=second, month=7)
    assert by_flow.net_need_mm == by_rate.net_need_mm
    assert by_flow.run_time_min_per_week == by_rate.run_time_min_per_week  # 60 x 20 / 100 = 12 mm/h
