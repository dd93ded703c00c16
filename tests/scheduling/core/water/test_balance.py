"""The daily balance: FAO-56 Example 37, a hand-made week, and what must hold for any weather."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.core.water.balance import (
    DailyDrive,
    GivenIrrigation,
    IrrigationByNeed,
    ZoneSoil,
    demand_until_next,
    soil_water_balance,
)
from scheduling.core.water.checks import WaterInputError


def one_zone(taw, p, start):
    return ZoneSoil(np.array([taw]), np.array([p]), np.array([start]))


def nothing(days):
    return GivenIrrigation(np.zeros((days, 1)))


def test_ten_days_of_stress_as_in_example_37():
    """FAO-56 Ex. 37 as quoted in an open test suite."""
    drive = DailyDrive(np.full(10, 5.0), np.zeros(10), np.array([1.2]))
    out = soil_water_balance(drive, one_zone(160.0, 0.4, 55.0), nothing(10))
    depletion = [61.0, 67.0, 72.8, 78.3, 83.4, 88.2, 92.6, 96.9, 100.8, 104.5]
    assert out.depletion_mm[:, 0] == pytest.approx(depletion, abs=0.06)
    ks = [1.00, 1.00, 0.97, 0.91, 0.85, 0.80, 0.75, 0.70, 0.66, 0.62]
    assert out.ks[:, 0] == pytest.approx(ks, abs=0.0051)
    assert out.stress_days.tolist() == [8]


def test_week_with_rain_and_irrigation():
    """own seven-day turf case, followed by hand."""
    drive = DailyDrive(
        np.array([5.0, 5.5, 6.0, 6.0, 5.0, 4.0, 3.0]), np.array([0, 0, 0, 4.0, 0, 0, 12.0]), np.array([0.8])
    )
    given_mm = GivenIrrigation(np.array([0, 0, 0, 0, 0, 20.0, 0]))
    out = soil_water_balance(drive, one_zone(34.0, 0.5, 10.0), given_mm)
    assert out.ks[:, 0] == pytest.approx([1, 1, 0.9176, 0.6585, 0.7079, 0.5413, 1], abs=0.0001)
    assert out.eta_mm[:, 0] == pytest.approx([4.0, 4.4, 4.405, 3.161, 2.832, 1.732, 2.4], abs=0.001)
    assert out.deep_percolation_mm[:, 0] == pytest.approx([0, 0, 0, 0, 0, 0, 3.070], abs=0.001)
    expected = [14.0, 18.4, 22.805, 21.966, 24.797, 6.530, 0.0]
    assert out.depletion_mm[:, 0] == pytest.approx(expected, abs=0.001)


def test_small_rain_is_ignored():
    """FAO-56 chapter 8: rain below 0.2 ETo."""
    drive = DailyDrive(np.full(2, 5.0), np.array([0.9, 1.0]), np.array([1.0]))
    assert soil_water_balance(drive, one_zone(50.0, 0.5, 20.0), nothing(2)).rain_mm[:, 0].tolist() == [0, 1.0]


def test_need_refills_at_the_allowed_depletion_on_permitted_days_only():
    permitted = np.array([True, False, True, False, True, False, True])
    drive = DailyDrive(np.full(7, 5.0), np.zeros(7), np.array([1.0]))
    out = soil_water_balance(drive, one_zone(40.0, 0.3, 0.0), IrrigationByNeed(permitted))
    watered = np.flatnonzero(out.irrigation_mm[:, 0])
    assert watered.tolist() == [4]
    assert out.irrigation_mm[4, 0] == out.depletion_mm[3, 0]


def test_looking_ahead_refills_before_the_plants_are_stressed():
    permitted = np.arange(14) % 3 == 0
    drive = DailyDrive(np.full(14, 5.0), np.zeros(14), np.array([1.0]))
    soil = one_zone(40.0, 0.5, 0.0)
    late = soil_water_balance(drive, soil, IrrigationByNeed(permitted))
    early = soil_water_balance(drive, soil, IrrigationByNeed(permitted, look_ahead=True))
    assert late.stress_days.tolist() == [4]
    assert early.stress_days.tolist() == [0]


def test_demand_until_the_next_permitted_day():
    permitted = np.array([[True], [False], [False], [True], [False]])
    ahead = demand_until_next(np.array([[1.0], [2.0], [3.0], [4.0], [5.0]]), permitted)
    assert ahead[:, 0].tolist() == [6.0, 5.0, 3.0, 9.0, 5.0]


def test_a_pause_stops_irrigation():
    drive = DailyDrive(np.full(6, 6.0), np.zeros(6), np.array([1.0]))
    paused = np.array([False, False, True, True, False, False])
    out = soil_water_balance(drive, one_zone(20.0, 0.5, 8.0), IrrigationByNeed(np.ones(6, bool)), paused)
    assert np.flatnonzero(out.irrigation_mm[:, 0]).tolist() == [1, 4]


def test_zones_take_the_weather_of_their_station_and_the_factor_of_the_month():
    drive = DailyDrive(
        np.array([[2.0, 4.0], [3.0, 5.0]]),
        np.zeros((2, 2)),
        np.array([[1.0, 0.5], [0.5, 1.0]]),
        station=np.array([1, 0]),
        factor_row=np.array([0, 1]),
    )
    soil = ZoneSoil(np.full(2, 100.0), np.full(2, 0.5), np.zeros(2))
    out = soil_water_balance(drive, soil, GivenIrrigation(np.zeros((2, 2))))
    assert out.demand_mm.tolist() == [[4.0, 1.0], [2.5, 3.0]]


@pytest.mark.parametrize(
    ("et", "rain", "complaint"),
    [
        ([5.0, np.nan], [0.0, 0.0], "ET: is missing"),
        ([5.0, 5.0], [0.0, -1.0], "rain: must lie"),
        ([5.0, 5.0], [0.0], "rain: needs the same days"),
    ],
)
def test_bad_weather_is_refused(et, rain, complaint):
    with pytest.raises(WaterInputError, match=complaint):
        soil_water_balance(
            DailyDrive(np.array(et), np.array(rain), np.array([1.0])), one_zone(50, 0.5, 0), nothing(2)
        )


def test_more_depletion_than_the_soil_holds_is_refused():
    with pytest.raises(WaterInputError, match="more than the soil holds"):
        soil_water_balance(DailyDrive(np.ones(1), np.ones(1), np.ones(1)), one_zone(50, 0.5, 51), nothing(1))


DAYS = 60
seeds = st.integers(0, 2**32 - 1)


def any_season(seed, zones=5):
    rng = np.random.default_rng(seed)
    drive = DailyDrive(
        rng.uniform(0, 12, DAYS),
        rng.gamma(0.2, 20, DAYS) * (rng.random(DAYS) < 0.4),
        rng.uniform(0, 1.3, (1, zones)),
    )
    taw = rng.uniform(3, 150, zones)
    soil = ZoneSoil(taw, rng.uniform(0.1, 0.9, zones), taw * rng.uniform(0, 1, zones))
    return rng, drive, soil


@given(seed=seeds, by_need=st.booleans(), ahead=st.booleans())
def test_water_is_neither_made_nor_lost_and_nothing_is_negative(seed, by_need, ahead):
    rng, drive, soil = any_season(seed)
    if by_need:
        rule = IrrigationByNeed(rng.random(DAYS) < 0.5, ahead)
    else:
        rule = GivenIrrigation(rng.uniform(0, 30, (DAYS, 5)) * (rng.random((DAYS, 5)) < 0.2))
    out = soil_water_balance(drive, soil, rule, paused=rng.random(DAYS) < 0.1)
    assert np.abs(out.closure_mm).max() <= 1e-9
    for values in (out.depletion_mm, out.ks, out.eta_mm, out.deep_percolation_mm, out.irrigation_mm):
        assert np.isfinite(values).all()
        assert (values >= 0).all()
    assert (out.depletion_mm <= soil.taw_mm + 1e-9).all()
    assert (out.ks <= 1).all()
    assert (out.eta_mm <= out.demand_mm + 1e-12).all()


def dry_and_wet(seed, ahead):
    """The same season with and without more rain, on soil roomy enough that a day's demand is below TAW - RAW."""
    rng, drive, soil = any_season(seed)
    roomy = ZoneSoil(soil.taw_mm + 30.0, np.full(5, 0.4), np.minimum(soil.start_depletion_mm, 10.0))
    wetter = DailyDrive(drive.et_mm, drive.rain_mm + rng.gamma(0.2, 10, DAYS), drive.plant_factor)
    rule = IrrigationByNeed(rng.random(DAYS) < 0.6, ahead)
    return soil_water_balance(drive, roomy, rule), soil_water_balance(wetter, roomy, rule)


@given(seed=seeds)
def test_more_rain_never_asks_for_more_irrigations_of_an_unstressed_zone(seed):
    """Refilled ahead of need a zone is not stressed, so the wetter one never overtakes the drier one."""
    dry, wet = dry_and_wet(seed, ahead=True)
    unstressed = (dry.ks == 1).all(axis=0) & (wet.ks == 1).all(axis=0)
    assert (wet.irrigations <= dry.irrigations)[unstressed].all()


def test_a_stressed_zone_may_be_irrigated_once_more_in_a_wetter_season():
    """Known limit of FAO-56: Ks of a day rests on the depletion before it, also on a day that refills the soil.

    The drier zone is stressed on the day it is refilled, loses less that day, and so can reach RAW later than the
    wetter one. Found by the property above without look-ahead, seed 463.
    """
    dry, wet = dry_and_wet(463, ahead=False)
    assert (dry.irrigations.tolist(), wet.irrigations.tolist()) == ([2, 11, 5, 7, 2], [1, 9, 3, 8, 1])
    assert dry.ks.min() < 1


def test_a_season_agrees_with_plain_arithmetic_for_one_zone():
    """The same equations as a scalar loop, written independently of the arrays."""
    rng, drive, soil = any_season(3, zones=1)
    permitted = rng.random(DAYS) < 0.5
    out = soil_water_balance(drive, soil, IrrigationByNeed(permitted))
    taw, raw = float(soil.taw_mm[0]), float(soil.depletion_fraction[0] * soil.taw_mm[0])
    depletion, k = float(soil.start_depletion_mm[0]), float(drive.plant_factor[0, 0])
    for day in range(DAYS):
        et, rain = float(drive.et_mm[day]), float(drive.rain_mm[day])
        rain = 0.0 if rain < 0.2 * et else rain
        ks = min(1.0, (taw - depletion) / (taw - raw))
        irrigation = depletion if permitted[day] and depletion >= raw else 0.0
        eta = min(ks * k * et, taw - depletion + rain + irrigation)
        end = depletion - rain - irrigation + eta
        assert out.irrigation_mm[day, 0] == pytest.approx(irrigation, abs=1e-12)
        assert out.deep_percolation_mm[day, 0] == pytest.approx(max(0.0, -end), abs=1e-12)
        depletion = max(0.0, end)
        assert out.depletion_mm[day, 0] == pytest.approx(depletion, abs=1e-10)
