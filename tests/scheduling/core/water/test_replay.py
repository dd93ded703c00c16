"""A season lived through again: against a plain loop, mass balance, losses, and what uniformity costs."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.core.water.replay import Days, ground_of, replay_by_need, replay_given
from scheduling.core.water.season import zone_season
from scheduling.core.water.zone_inputs import ZoneInputs
from tests.scheduling.core.water.climates import make_climate

SUMMER = np.arange(np.datetime64("2026-06-01"), np.datetime64("2026-09-01"))


def zone(in_season=None, **changed):
    facts = {"area_m2": 100.0, "soil_texture": "loam", "application_rate_mm_h": 12.0, "du_lq": 0.65, **changed}
    planting = facts.pop("planting", "cool_turf")
    return zone_season(ZoneInputs(planting, "rotor", 47.0, **facts), make_climate(), 2026, in_season=in_season)


def days(et=5.0, rain=0.0):
    count = len(SUMMER)
    return Days(SUMMER, np.full(count, et), np.broadcast_to(np.asarray(rain, float), count).copy())


def test_a_given_schedule_agrees_with_a_plain_loop():
    """FAO-56 Eq. 85 to 88 written out for one zone; turf Kc of June to August by Meyer, Gibeault, Youngner 1985."""
    rng = np.random.default_rng(4)
    weather = Days(SUMMER, rng.uniform(2, 7, 92), np.where(rng.random(92) < 0.2, rng.uniform(0, 25, 92), 0.0))
    minutes = np.where(np.arange(92) % 3 == 0, 55.0, 0.0)
    replay = replay_given(ground_of([zone()]), weather, minutes[:, None])
    taw, multiplier = 170 * 0.15, 1 / (0.4 + 0.6 * 0.65)
    depletion, stress, lost = 0.5 * 0.5 * taw, 0, 0.0
    for day in range(92):
        kc = {6: 0.88, 7: 0.94, 8: 0.86}[int(str(SUMMER[day])[5:7])]
        gross = minutes[day] / 60 * 12
        ks = min(1.0, (taw - depletion) / (taw - 0.5 * taw))
        rain = weather.rain_mm[day] if weather.rain_mm[day] >= 0.2 * weather.et_mm[day] else 0.0
        end = depletion - rain - gross / multiplier
        end += min(ks * kc * weather.et_mm[day], taw - end)
        overfull, depletion = max(0.0, -end), max(0.0, end)
        stress += ks < 1
        lost += min(overfull, gross / multiplier) + gross - gross / multiplier
        assert replay.balance.depletion_mm[day, 0] == pytest.approx(depletion, abs=1e-9)
    assert replay.stress.sum() == stress > 0
    assert replay.lost_irrigation_mm.sum() == pytest.approx(lost)
    assert replay.litres.sum() == pytest.approx(minutes.sum() / 60 * 12 * 100)


def test_watered_by_need_on_every_day_no_day_is_stressed():
    replay = replay_by_need(ground_of([zone(), zone(planting="shrubs")]), days(6.0), np.ones(92, bool))
    assert replay.stress.sum() == 0
    assert (replay.litres.sum(axis=0) > 0).all()


def test_two_days_a_week_on_shallow_sand_leave_days_under_stress():
    twice = np.array([day.astype("datetime64[D]").astype(int) % 7 in (0, 3) for day in SUMMER])
    replay = replay_by_need(ground_of([zone(soil_texture="sand")]), days(6.0), twice)
    assert replay.stress.sum() > 30


def test_no_water_is_put_down_out_of_season():
    winter = np.arange(np.datetime64("2026-01-01"), np.datetime64("2026-02-01"))
    frozen = zone(in_season=(False, *[True] * 11))
    cold = replay_by_need(ground_of([frozen]), Days(winter, np.full(31, 1.0), np.zeros(31)), np.ones(31, bool))
    assert (cold.minutes.sum(), cold.stress.sum()) == (0, 0)


@given(
    du=st.floats(0.4, 0.95), better=st.floats(0, 0.4), rain=st.lists(st.floats(0, 40), min_size=92, max_size=92)
)  # fmt: skip
def test_the_balance_closes_and_lower_uniformity_never_takes_less_water(du, better, rain):
    weather = days(5.0, rain)
    poor, good = (
        replay_by_need(ground_of([zone(du_lq=each)]), weather, np.ones(92, bool))
        for each in (du, min(1.0, du + better))
    )
    assert abs(poor.balance.closure_mm).max() < 1e-9
    assert poor.litres.sum() >= good.litres.sum() - 1e-6
    assert (poor.lost_irrigation_mm >= -1e-12).all()
    assert (poor.lost_irrigation_l <= poor.litres + 1e-9).all()
