"""When to water: against a plain model of one zone in scalars, and what must hold for any soil and weather."""

import math
import os

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.core.water import advice
from scheduling.core.water.advice import DAYS, MARGIN_SD, SMALL_SHARE, Outlook, plan_waterings
from scheduling.core.water.backtest import outlook_of_record, record_of, set_days
from scheduling.core.water.balance import DailyDrive, IrrigationByAdvice, ZoneSoil, soil_water_balance
from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.daily_et import daily_reference_et
from scheduling.core.water.replay import ground_of
from scheduling.core.water.season import zone_season
from scheduling.core.water.zone_inputs import ZoneInputs
from tests.scheduling.core.water.climates import SEATTLE, seattle_weather

ZONES = 1000 if os.environ.get("HYPOTHESIS_PROFILE") == "deep" else 24


def outlook(demand, rain=None, raw=20.0, permitted=None, sd=(0.0, 0.0), zones=1):
    rows = len(demand)
    column = np.ones((rows, zones))
    rain = np.zeros(rows) if rain is None else np.asarray(rain, float)
    flags = np.ones(rows, bool) if permitted is None else np.asarray(permitted, bool)
    return Outlook(
        np.asarray(demand, float)[:, None] * column,
        rain[:, None] * column,
        sd[0] * column,
        sd[1] * column,
        raw * column,
        flags[:, None] & (column > 0),
        column > 0,
    )


# A plain model of one zone: floats and lists, written from the description, nothing of the core but its constants.


def looked_ahead(state, dry, first, day, of):
    """What is set against RAW, and what is likely."""
    until = day + 1
    while not of["permitted"][until]:
        until += 1
    wet, thirst = state, dry
    for each in range(day, until):
        wet = max(wet + of["demand"][each] - of["rain"][each], 0.0)
        thirst += of["demand"][each]
    weeks = math.sqrt((until - first) / 7)
    return min(thirst + MARGIN_SD * of["sd"][day] * weeks, wet + MARGIN_SD * of["net_sd"][day] * weeks), wet


def scalar_pass(depletion, first, days, of, most):
    state, dry, given = depletion, depletion, {}
    for day in range(first, first + days):
        reaches, likely = looked_ahead(state, dry, first, day, of)
        if reaches > of["raw"][day] and of["permitted"][day] and of["growing"][day]:
            room = sum(of["rain"][day : first + 7])
            depth = min(max(state - room, 0.0), most)
            worth = days == 1 or depth >= SMALL_SHARE * of["raw"][day] or likely > of["raw"][day]
            if depth > 0 and worth:
                given[day] = depth
        state = max(state - given.get(day, 0.0) + of["demand"][day] - of["rain"][day], 0.0)
        dry += of["demand"][day] - given.get(day, 0.0)
    return given


def scalar_week(depletion, first, days, of):
    given = scalar_pass(depletion, first, days, of, math.inf)
    if len(given) < 2:
        return given
    given = scalar_pass(depletion, first, days, of, sum(given.values()) / len(given))
    mean = most = sum(given.values()) / len(given)
    state = depletion
    for day in range(first, first + days):
        if day in given:
            most = min(most, state)
            state -= mean
        state = max(state + of["demand"][day] - of["rain"][day], 0.0)
    return {day: most for day in given if most > 0}


def scalar_years(of, weather, taw, raw, start, mondays):
    depletion, given, out = start, {}, []
    for day in range(len(weather["et"])):
        if day == 0 or mondays[day]:
            length = next((later for later in range(1, 8) if day + later >= len(mondays) or mondays[day + later]), 7)
            given = scalar_week(depletion, day, length, of)
        irrigation = given.get(day, 0.0)
        rain = weather["rain"][day] if weather["rain"][day] >= 0.2 * weather["et"][day] else 0.0
        ks = min(1.0, (taw - depletion) / (taw - raw))
        end = depletion - rain - irrigation
        end += min(ks * weather["demand"][day], taw - end)
        depletion = min(max(end, 0.0), taw)
        out.append((irrigation, depletion))
    return out


@pytest.mark.slow
def test_a_plain_scalar_model_takes_every_decision_alike_over_four_real_years():
    """Seattle 2012 to 2015, random plantings, soils, roots, exposures and permitted days, the advice set weekly."""
    rng = np.random.default_rng(11)
    weather = seattle_weather()
    record = record_of("Seattle", weather, daily_reference_et(weather, SEATTLE))
    plantings, soils = ("cool_turf", "annuals", "shrubs", "trees", "drought_tolerant"), ("sand", "loam", "clay")
    seasons = [
        zone_season(
            ZoneInputs(
                str(rng.choice(plantings)), "rotor", 47.4, 100.0, str(rng.choice(soils)),
                exposure=str(rng.choice(["sun", "shade", "hot"])), root_depth_m=float(rng.uniform(0.1, 0.9)),
            ),
            record.climates[2013], 2026, in_season=tuple(rng.random(12) < 0.8),
        )
        for _ in range(ZONES)
    ]  # fmt: skip
    ground, days = ground_of(seasons), len(record.days.dates)
    weekday = (record.days.dates.astype(int) + 3) % 7
    named = [rng.choice(7, rng.integers(1, 8), replace=False) for _ in range(ZONES)]
    permitted = np.array([np.isin(weekday, some) for some in named]).T
    mondays = set_days(record.days.dates, "weekly")
    ahead = outlook_of_record(ground, record, permitted)
    start = rng.uniform(0, 1, ZONES) * ground.taw_mm
    drive = DailyDrive(record.days.et_mm, record.days.rain_mm, ground.plant_factor, factor_row=record.days.month_row)
    ours = soil_water_balance(drive, ZoneSoil(ground.taw_mm, ground.mad, start), IrrigationByAdvice(ahead, mondays))
    waterings = 0
    for zone in range(ZONES):
        of = {
            "demand": ahead.demand_mm[:, zone].tolist(),
            "rain": ahead.rain_mm[:, zone].tolist(),
            "sd": ahead.demand_sd_mm[:, zone].tolist(),
            "net_sd": ahead.net_sd_mm[:, zone].tolist(),
            "raw": ahead.raw_mm[:, zone].tolist(),
            "permitted": ahead.permitted[:, zone].tolist(),
            "growing": ahead.in_season[:, zone].tolist(),
        }
        weather = {
            "et": record.days.et_mm.tolist(),
            "rain": record.days.rain_mm.tolist(),
            "demand": ours.demand_mm[:, zone].tolist(),
        }
        taw, raw = float(ground.taw_mm[zone]), float(ground.raw_mm[zone])
        plain = np.array(scalar_years(of, weather, taw, raw, float(start[zone]), mondays.tolist()))
        assert ours.irrigation_mm[:, zone] == pytest.approx(plain[:, 0], abs=1e-9)
        assert ours.depletion_mm[:, zone] == pytest.approx(plain[:, 1], abs=1e-9)
        assert ((ours.irrigation_mm[:, zone] > 0) == (plain[:, 0] > 0)).all()
        waterings += np.count_nonzero(plain[:, 0])
    assert waterings > 20 * ZONES
    assert days == 1461


def test_a_zone_waits_for_the_last_day_before_it_would_pass():
    """20 mm allowed, 3 mm a day, 8 mm short: on the fifth morning 20 mm are short and the day would pass them."""
    plan = plan_waterings(outlook([3.0] * 30, raw=20.0), np.array([8.0]))
    assert plan.depth_mm[:, 0].tolist() == [0, 0, 0, 0, 20, 0, 0]
    assert plan.reaches_mm[:5, 0].tolist() == [11, 14, 17, 20, 23]


def test_a_zone_is_watered_before_days_without_permission():
    """The same zone at a site that may water on the first and the eighth day alone: now, or not for a week."""
    once = [day % 7 == 0 for day in range(30)]
    plan = plan_waterings(outlook([3.0] * 30, raw=20.0, permitted=once), np.array([8.0]))
    assert plan.depth_mm[:, 0].tolist() == [8, 0, 0, 0, 0, 0, 0]


def test_deep_soil_needs_nothing_this_week():
    """20.4 mm short of 51: no week of 2.2 mm a day passes that, with or without 56 mm of rain to come."""
    for rain in (0.0, 56.0):
        wet = np.zeros(30)
        wet[2] = rain
        assert plan_waterings(outlook([2.2] * 30, wet, raw=51.0), np.array([20.4])).count[0] == 0


def test_rain_that_is_counted_waits_and_leaves_room():
    short = np.array([19.0])
    dry = plan_waterings(outlook([3.0] * 30, raw=20.0), short, days=1)
    soon = np.zeros(30)
    soon[1] = 4.0
    wet = plan_waterings(outlook([3.0] * 30, soon, raw=20.0), short, days=1)
    assert (dry.depth_mm[0, 0], wet.depth_mm[0, 0]) == (19.0, 15.0)
    soon[0] = 9.0
    assert plan_waterings(outlook([3.0] * 30, soon, raw=20.0), short, days=1).depth_mm[0, 0] == 0


def test_zones_of_one_program_are_watered_together():
    both = outlook([3.0] * 30, raw=20.0, zones=2)
    plan = plan_waterings(both, np.array([18.0, 8.0]), program=np.array([0, 0]))
    assert (plan.depth_mm > 0).T.tolist() == [[True, False, False, False, False, False, True]] * 2
    alone = plan_waterings(both, np.array([18.0, 8.0]), program=np.array([-1, -1]))
    assert alone.count.tolist() == [2, 1]


def test_figures_that_cannot_be_are_refused():
    with pytest.raises(WaterInputError, match="rain_mm"):
        outlook([3.0] * 30, [math.nan] * 30)
    with pytest.raises(WaterInputError, match="depletion"):
        plan_waterings(outlook([3.0] * 30), np.array([1.0, 2.0]))
    with pytest.raises(WaterInputError, match="depletion"):
        plan_waterings(outlook([3.0] * 30), np.array([-1.0]))


mm = st.floats(0, 8)
SOILS = {
    "demand": st.lists(mm, min_size=21, max_size=21),
    "rain": st.lists(st.floats(0, 30), min_size=21, max_size=21),
    "more": st.lists(st.floats(0, 30), min_size=21, max_size=21),
    "raw": st.floats(2, 80),
    "short": st.floats(0, 1.5),
    "sd": st.floats(0, 10),
    "permitted": st.lists(st.booleans(), min_size=21, max_size=21),
}


@pytest.mark.slow
@given(**SOILS)
def test_more_rain_expected_never_waters_earlier_nor_deeper_on_the_same_day(
    demand, rain, more, raw, short, sd, permitted
):
    wetter = np.add(rain, more)
    depletion = np.array([short * raw])
    plans = [plan_waterings(outlook(demand, wet, raw, permitted, (sd, 2 * sd)), depletion) for wet in (rain, wetter)]
    first = [int(np.argmax(plan.depth_mm[:, 0] > 0)) if plan.count[0] else DAYS for plan in plans]
    assert first[1] >= first[0]
    # As decided each morning: no sharing of one depth between days yet to come.
    today = [
        plan_waterings(outlook(demand, wet, raw, permitted, (sd, 2 * sd)), depletion, days=1).depth_mm[0, 0]
        for wet in (rain, wetter)
    ]
    assert today[1] <= today[0]


@pytest.mark.slow
@given(**SOILS, short_too=st.floats(0, 1.5))
def test_the_advice_never_passes_field_capacity_under_its_own_forecast(
    demand, rain, more, raw, short, sd, permitted, short_too
):
    both = outlook(demand, rain, raw, permitted, (sd, 2 * sd), zones=3)
    both.raw_mm[:, 1] = np.add(more, 1.0)
    plan = plan_waterings(both, np.array([short, short_too, short]) * raw, least_mm=0.5, program=np.array([0, 0, -1]))
    assert (plan.depth_mm <= plan.depletion_mm + 1e-9).all()
    given = np.sort(plan.depth_mm, axis=0)[::-1]
    assert all(len(set(np.round(column[column > 0], 9))) <= 1 for column in given.T)


def test_nothing_is_given_on_days_out_of_season():
    off = outlook([5.0] * 30, raw=10.0)
    off.in_season[:4] = False
    plan = plan_waterings(off, np.array([10.0]))
    assert plan.depth_mm[:4].sum() == 0
    assert plan.depth_mm[4, 0] > 0


def test_the_share_and_the_margin_are_what_the_pages_say():
    assert (advice.RAIN_SHARE, advice.MARGIN_SD) == (0.3, 1.0)
