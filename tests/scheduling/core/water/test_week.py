"""The coming week of zones: from the soil this morning, the forecast and the normals, to minutes on days."""

import datetime as dt
import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.explain import explain_week
from scheduling.core.water.season import zone_season
from scheduling.core.water.week import PLANNED, WeekWeather, advise, expected_days
from scheduling.core.water.zone_inputs import ZoneInputs
from tests.scheduling.core.water.climates import make_climate

MONDAY = dt.date(2026, 7, 6)
CLIMATE = make_climate()  # no spread around its normals: nothing is kept in hand
NONE = np.full(7, np.nan)


def season(planting="cool_turf", window_min=480.0, **changed):
    facts = {"area_m2": 100.0, "soil_texture": "loam", "application_rate_mm_h": 12.0, "du_lq": 0.7, **changed}
    return zone_season(ZoneInputs(planting, "rotor", 47.0, **facts), CLIMATE, 2026, window_min=window_min)


def weather(et=NONE, rain=NONE, chance=NONE):
    full = [np.broadcast_to(np.asarray(values, dtype=float), 7).copy() for values in (et, rain, chance)]
    return WeekWeather(MONDAY, full[0], full[1], np.full(7, 5.8), np.full(7, 0.65), full[2])


def weeks(seasons, depletion, week=None, permitted=None, controllers=None):
    expected = expected_days(CLIMATE, week or weather())
    flags = np.ones((len(expected.dates), len(seasons)), bool) if permitted is None else permitted(expected.dates)
    hangs = np.zeros(len(seasons), np.int64) if controllers is None else np.array(controllers)
    return advise(seasons, expected, np.array(depletion, float), flags, hangs)


def test_shrubs_by_hand():
    """Loam 170 mm/m x 0.45 m x 0.5 = 38.25 mm; 0.5 x 6 mm a day. 30 mm short this Monday morning, 36 mm on Wednesday,
    when the day would pass: watered then. 60 x 36 / 12 x 1 / (0.4 + 0.6 x 0.7) = 219.5 min, as 219 or 220."""
    (found,) = weeks([season("shrubs", window_min=1440)], [30.0], weather(6.0, 0.0))
    assert found.dates == (dt.date(2026, 7, 8),)
    assert found.depth_mm == pytest.approx(36.0, abs=0.25)  # less the rain counted on the eighth day
    assert found.exact_run_time_min == pytest.approx(60 * found.depth_mm / 12 / 0.82)
    assert 218 <= found.run_time_min <= 222
    assert found.litres == pytest.approx(found.run_time_min / 60 * 12 * 100)
    assert [round(each.depletion_mm, 6) for each in found.mornings[:3]] == [30, 33, 36]
    assert found.mornings[2].reaches_mm == pytest.approx(39.0)
    assert found.every_weeks == 1  # 3 mm a day: due again after 12 days, so every week in whole weeks


def test_nothing_is_given_today_and_seven_days_from_tomorrow_are_planned():
    (found,) = weeks([season()], [12.0], weather(6.0, 0.0))
    assert found.dates[0] == dt.date(2026, 7, 7)
    assert len(found.mornings) == PLANNED == 8
    assert found.mornings[0].may_water is False


def test_trees_that_last_for_weeks_get_nothing_and_say_when():
    (found,) = weeks([season("trees", window_min=1440)], [10.0])
    assert (found.dates, found.run_time_min, found.litres) == ((), 0, 0.0)
    assert dt.date(2026, 7, 14) < found.due_on < dt.date(2026, 8, 1)
    assert explain_week(season("trees"), found) == {}


def test_rain_that_is_forecast_counts_by_its_chance():
    """Turf 12.75 mm: 9 mm short, 5 mm a day; 10 mm of rain tomorrow at 80 % put the watering off."""
    rain = np.full(7, 0.0)
    rain[1] = 10.0
    said = np.full(7, 0.8)
    dry = weeks([season()], [6.0], weather(5.0, 0.0))[0]
    sure = weeks([season()], [6.0], weather(5.0, rain, said))[0]
    unsaid = weeks([season()], [6.0], weather(5.0, rain))[0]
    assert dry.dates[0] < sure.dates[0]
    assert [each.mornings[1].counted_mm for each in (dry, sure, unsaid)] == [0.0, 8.0, 5.0]


def test_days_that_nobody_forecast_show_the_normals():
    week = weather()
    expected = expected_days(CLIMATE, week)
    assert week.days_entered == 0
    assert (expected.et_mm[:7] > 4).all()
    assert expected.counted_rain_mm[:7] == pytest.approx(0.3 * expected.rain_mm[:7])


def test_a_site_with_one_weekday_waters_on_it():
    def mondays(dates):
        return ((dates.astype(int) + 3) % 7 == 0)[:, None]

    (found,) = weeks([season("shrubs")], [15.0], permitted=mondays)
    assert found.dates in ((), (dt.date(2026, 7, 13),))
    (found,) = weeks([season()], [6.0], permitted=mondays)
    assert found.dates == (dt.date(2026, 7, 13),)


def test_a_night_that_is_too_short_for_a_refill_waters_more_often():
    """Two hours at 12 mm/h and SM 1.2195 put down 19.7 mm: shrubs are refilled before they are 19.7 mm short."""
    (found,) = weeks([season("shrubs", window_min=120)], [15.0], weather(6.0, 0.0))
    assert found.dates
    assert found.run_time_min <= 120
    assert found.depth_mm <= 120 / 60 * 12 * 0.82


def test_a_rate_that_no_night_can_water_with_is_refused():
    with pytest.raises(
        WaterInputError, match=r"application_rate_mm_h: is too low: a day of the peak month would take"
    ):
        season(application_rate_mm_h=0.1)


def test_four_rhythms_on_one_controller_become_three_programs_and_say_what_that_costs():
    plantings = ("cool_turf", "annuals", "perennials", "shrubs", "vegetables")
    seasons = [season(key, window_min=1440) for key in plantings]
    short = [10.0, 9.0, 15.0, 33.0, 8.0]
    alone = weeks(seasons, short, weather(6.0, 0.0), controllers=[0, 1, 2, 3, 4])
    shared = weeks(seasons, short, weather(6.0, 0.0))
    assert len({week.weekdays for week in alone if week.dates}) > 3
    assert len({week.weekdays for week in shared if week.dates}) <= 3
    assert all(week.shared_mm == 0 for week in alone)
    assert len(shared[3].dates) == 1  # the shrubs stay off the frequent programs
    assert max(len(week.dates) for week in shared) >= 3


def test_every_figure_of_the_week_is_explained():
    (found,) = weeks([season()], [8.0])
    told = explain_week(season(), found)
    for name, derivation in told.items():
        if name not in ("plant_factor", "raw_mm", "application_rate_mm_h", "scheduling_multiplier"):
            assert derivation.value == pytest.approx(getattr(found, name))
        assert derivation.formula
        assert derivation.inputs


def test_a_week_that_is_not_seven_days_or_a_chance_above_one_is_refused():
    with pytest.raises(WaterInputError, match="seven days"):
        WeekWeather(MONDAY, np.ones(6), np.ones(7), np.ones(7), np.ones(7))
    with pytest.raises(WaterInputError, match="rain chance"):
        weather(5.0, 3.0, 80.0)


@given(
    short=st.lists(st.floats(0, 60), min_size=4, max_size=4),
    et=st.lists(st.floats(0, 9), min_size=7, max_size=7),
    rain=st.lists(st.floats(0, 40), min_size=7, max_size=7),
    window=st.integers(60, 720),
)
def test_no_run_is_longer_than_the_night_and_no_depth_is_more_than_the_soil_takes(short, et, rain, window):
    plantings = ("cool_turf", "shrubs", "trees", "annuals")
    seasons = [season(key, window_min=window) for key in plantings]
    for week in weeks(seasons, short, weather(et, rain), controllers=[0, 1, 2, 3]):
        assert week.run_time_min <= 1.05 * window
        assert week.run_time_min <= 1.05 * week.exact_run_time_min + 1e-9
        for morning in week.mornings:
            assert morning.depth_mm <= morning.depletion_mm + 1e-9


@given(
    short=st.lists(st.floats(0, 60), min_size=4, max_size=4),
    et=st.lists(st.floats(0, 9), min_size=7, max_size=7),
    rain=st.lists(st.floats(0, 40), min_size=7, max_size=7),
)
def test_each_morning_follows_from_the_one_before_where_zones_share_days(short, et, rain):
    seasons = [season(key) for key in ("cool_turf", "shrubs", "trees", "annuals")]
    for week in weeks(seasons, short, weather(et, rain), controllers=[0, 0, 0, 0]):
        for this, following in itertools.pairwise(week.mornings):
            stands = this.depletion_mm - this.depth_mm + this.demand_mm - this.counted_mm
            assert following.depletion_mm == pytest.approx(max(stands, 0.0), abs=1e-9)
