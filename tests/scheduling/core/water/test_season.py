"""A zone's year: one zone followed by hand, the honest refusals, and what must hold for any zone."""

import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.core.water import application, demand, soil
from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.derivation import CannotCompute, Known
from scheduling.core.water.explain import explain_month
from scheduling.core.water.season import growing_months, zone_season
from scheduling.core.water.zone_inputs import ZoneInputs
from tests.scheduling.core.water.climates import RAIN_MM, make_climate, seattle_climate

LAWN = ZoneInputs(
    "cool_turf",
    "fixed_spray",
    47.0,
    area_m2=Known(100.0, "measured"),
    soil_texture="clay_loam",
    slope_percent=2.0,
    application_rate_mm_h=Known(40.0, "measured", "catch cans"),
    du_lq=Known(0.60, "measured"),
    root_depth_m=0.2,
    mad=0.5,
)


def test_july_of_a_lawn_followed_by_hand():
    """Own; by the reference's formulas: K 0.94 (MEYER-85), SCS rain, SM 1.3158, clay loam."""
    july = zone_season(LAWN, make_climate(), 2026).months[6]
    assert july.demand_mm == pytest.approx(0.94 * 180)
    # TAW 180 x 0.2 = 36, usable storage 18 mm = 0.70866 in
    d = 18 / 25.4
    factor = 0.531747 + 0.295164 * d - 0.057697 * d**2 + 0.003804 * d**3
    effective = factor * (1.25 * 20**0.824 - 2.93) * 10 ** (0.000955 * 169.2)
    assert july.effective_rain_mm == pytest.approx(effective)
    net = 169.2 - effective
    assert july.net_need_mm == pytest.approx(net)
    per_week = 60 * (net / 31 * 7) * (1 / (0.4 + 0.6 * 0.6)) / 40
    assert july.exact_run_time_min_per_week == pytest.approx(per_week)
    assert per_week == pytest.approx(69.95, abs=0.01)
    # RAW 18 mm over 169.2/31 = 5.46 mm/day: every third day, so three days a week
    assert (july.longest_interval_days, july.days_per_week) == (3, 3)
    # 69.95/3 = 23.3 -> 23 min; t_max 60 x 6.6/(40 - 5.1) = 11.35 -> 3 cycles of 8 = 24 min; soak 77.6 -> 78
    assert (july.cycles, july.cycle_min, july.run_time_min, july.soak_min) == (3, 8, 24, 78)
    assert july.run_time_min_per_week == 72
    assert july.percent_of_peak == 100.0
    assert july.litres == pytest.approx(72 * 31 / 7 / 60 * 40 * 100)
    assert july.warnings == ()


def test_percent_is_of_need_per_day_and_the_peak_month_is_100():
    season = zone_season(LAWN, make_climate(), 2026)
    assert season.peak.month == 7
    may = season.months[4]
    assert may.percent_of_peak == pytest.approx(100 * (may.net_need_mm / 31) / season.peak.net_need_mm_day)


def test_winter_months_say_why_they_have_no_minutes():
    months = zone_season(LAWN, seattle_climate(), 2026).months
    assert months[0].run_time_min == 0
    assert {month.zero_because for month in months if month.run_time_min == 0} <= {
        "out of season",
        "the normal rain covers the demand",
    }
    assert all(not month.zero_because for month in months if month.run_time_min)


def test_cold_months_and_a_shut_supply_are_out_of_season():
    cold = zone_season(LAWN, make_climate(tmax_c=6.0, tmin_c=2.0), 2026)
    assert {month.zero_because for month in cold.months} == {"out of season"}
    shut = zone_season(LAWN, make_climate(), 2026, in_season=(False,) * 6 + (True,) + (False,) * 5)
    assert [month.month for month in shut.months if month.run_time_min] == [7]


def test_growing_months_of_seattle():
    assert growing_months(seattle_climate())[3:10] == (True,) * 7


def test_a_zone_without_rate_flow_and_area_is_not_computed():
    answer = zone_season(ZoneInputs("shrubs", "fixed_spray", 47.0), make_climate(), 2026)
    assert answer == CannotCompute(("application rate", "area"), "neither rate nor area nor flow is known")
    assert str(answer).startswith("Cannot compute: needs application rate and area")


@pytest.mark.parametrize(
    ("fields", "needs"),
    [({"area_m2": 20.0}, ("flow or application rate",)), ({"flow_l_min": 8.0}, ("area",))],
)
def test_a_bubbler_zone_has_no_usual_rate(fields, needs):
    answer = zone_season(ZoneInputs("trees", "bubbler", 47.0, **fields), make_climate(), 2026)
    assert isinstance(answer, CannotCompute)
    assert answer.needs == needs


def test_flow_and_area_give_the_rate_before_any_default():
    season = zone_season(ZoneInputs("shrubs", "drip_grid", 47.0, area_m2=30.0, flow_l_min=5.0), make_climate(), 2026)
    assert season.zone.rate.value_mm_h == pytest.approx(10.0)
    july = season.months[6]
    assert july.litres == pytest.approx(july.run_time_min_per_week * 31 / 7 * 5.0)


def test_defaults_are_named_and_never_shown_as_measured():
    season = zone_season(ZoneInputs("shrubs", "rotor", 47.0, area_m2=50.0), make_climate(), 2026)
    explained = explain_month(season, 7)
    defaults = {item.name for derivation in explained.values() for item in derivation.defaults}
    assert {
        "application rate",
        "distribution uniformity DU",
        "root depth",
        "allowed depletion MAD",
        "basic intake",
        "slope",
        "available water",
    } <= defaults
    assert season.zone.rate.derivation.inputs[0].note == "usual for gear or impact rotor, common practice"
    measured = explain_month(zone_season(LAWN, make_climate(), 2026), 7)
    assert measured["application_rate_mm_h"].inputs[0].origin == "measured"
    assert measured["scheduling_multiplier"].defaults == ()


def test_every_explained_value_is_the_value_of_the_month():
    season = zone_season(LAWN, make_climate(), 2026)
    for month in season.months:
        for name, derivation in explain_month(season, month.month).items():
            if hasattr(month, name):
                assert derivation.value == pytest.approx(getattr(month, name)), name


def test_litres_stay_unknown_without_area_and_flow():
    season = zone_season(ZoneInputs("shrubs", "rotor", 47.0, application_rate_mm_h=12.0), make_climate(), 2026)
    assert season.litres is None
    assert explain_month(season, 7)["litres"].formula == "not computed: needs flow or area"


def test_southern_turf_is_half_a_year_apart():
    months = zone_season(LAWN, make_climate(), 2026).months
    south = ZoneInputs("cool_turf", "fixed_spray", -35.0, area_m2=100.0)
    assert zone_season(south, make_climate(), 2026).months[9].plant_factor == months[3].plant_factor


def test_new_planting_runs_longer_until_it_is_established():
    new = ZoneInputs("shrubs", "rotor", 47.0, area_m2=50.0, planted_on=dt.date(2026, 5, 1))
    old = ZoneInputs("shrubs", "rotor", 47.0, area_m2=50.0)
    fresh, settled = (zone_season(zone, make_climate(), 2026) for zone in (new, old))
    assert fresh.months[6].exact_run_time_min_per_week > settled.months[6].exact_run_time_min_per_week
    assert fresh.months[6].longest_interval_days < settled.months[6].longest_interval_days
    assert fresh.months[3].plant_factor == settled.months[3].plant_factor
    later = zone_season(new, make_climate(), 2030)
    assert [month.run_time_min for month in later.months] == [month.run_time_min for month in settled.months]


def test_poor_uniformity_and_too_few_days_warn():
    poor = ZoneInputs("cool_turf", "fixed_spray", 47.0, area_m2=100.0, du_lq=0.3)
    warnings = zone_season(poor, make_climate(), 2026, permitted_days_per_week=1).warnings
    assert warnings[0] == "uniformity 0.30: repair before adding water"
    assert "1 permitted days a week leave gaps longer than" in warnings[1]


@pytest.mark.parametrize(
    ("fields", "complaint"),
    [
        ({"planting": "moss"}, "planting: unknown"),
        ({"emitter": "hose"}, "emitter: unknown"),
        ({"soil_texture": "peat"}, "soil texture: unknown"),
        ({"du_lq": 1.2}, "du_lq: is 1.2"),
        ({"area_m2": float("nan")}, "area_m2: is nan"),
        ({"latitude": 95.0}, "latitude"),
    ],
)
def test_impossible_inputs_are_refused_by_field(fields, complaint):
    plain = {"planting": "shrubs", "emitter": "rotor", "latitude": 47.0, "area_m2": 10.0}
    with pytest.raises(WaterInputError, match=complaint):
        zone_season(ZoneInputs(**(plain | fields)), make_climate(), 2026)


any_zone = st.builds(
    ZoneInputs,
    planting=st.sampled_from(sorted(demand.PLANTINGS)),
    emitter=st.sampled_from(["fixed_spray", "rotor", "drip_grid"]),
    latitude=st.floats(-60, 60),
    area_m2=st.floats(1, 5000),
    soil_texture=st.sampled_from(["", *sorted(soil.TEXTURES)]),
    slope_percent=st.floats(0, 40),
    exposure=st.sampled_from(sorted(demand.EXPOSURE_FACTOR)),
    application_rate_mm_h=st.none() | st.floats(1, 120),
    du_lq=st.none() | st.floats(0.1, 1.0),
    planted_on=st.none() | st.dates(dt.date(2024, 1, 1), dt.date(2026, 12, 31)),
)
months_mm = st.lists(st.floats(0, 300), min_size=12, max_size=12)


@given(zone=any_zone, et=months_mm, rain=months_mm, more=months_mm, permitted=st.integers(1, 7))
def test_any_zone_is_whole_and_more_rain_never_runs_longer(zone, et, rain, more, permitted):
    season = zone_season(zone, make_climate(et, rain), 2026, permitted)
    wetter = zone_season(zone, make_climate(et, np.add(rain, more)), 2026, permitted)
    for month, wet in zip(season.months, wetter.months, strict=True):
        assert month.cycles * month.cycle_min == month.run_time_min
        assert month.days_per_week <= permitted
        figures = (month.demand_mm, month.net_need_mm, month.exact_run_time_min_per_week, month.litres)
        assert all(np.isfinite(figure) and figure >= 0 for figure in figures)
        assert (month.run_time_min == 0) == bool(month.zero_because)
        assert wet.run_time_min_per_week <= month.run_time_min_per_week


@given(zone=any_zone, low=st.floats(0.05, 1), high=st.floats(0.05, 1))
def test_lower_uniformity_never_runs_shorter(zone, low, high):
    low, high = sorted((low, high))
    fields = {name: getattr(zone, name) for name in zone.__dataclass_fields__}
    uneven, even = (
        zone_season(ZoneInputs(**(fields | {"du_lq": du})), make_climate(rain_mm=RAIN_MM), 2026) for du in (low, high)
    )
    for more, less in zip(uneven.months, even.months, strict=True):
        assert more.run_time_min_per_week >= less.run_time_min_per_week


def test_every_key_of_the_tables_can_be_computed_with_a_rate():
    for planting in demand.PLANTINGS:
        for emitter in application.EMITTERS:
            zone = ZoneInputs(planting, emitter, 47.0, area_m2=10.0, application_rate_mm_h=10.0)
            assert zone_season(zone, make_climate(), 2026).litres > 0
