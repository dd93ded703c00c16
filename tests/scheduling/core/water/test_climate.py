"""Monthly normals, daily normals and the doubts about a station's data."""

import numpy as np
import pytest

from scheduling.core.water import climate as cl
from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.daily_et import DailyWeather, StationGeometry
from tests.scheduling.core.water.climates import SEATTLE, seattle_climate, seattle_weather

NIST_SAMPLE = [95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925, 95.1990]


def test_percentile_follows_the_nist_rule():
    """NIST e-Handbook 7.2.6.2 (also in the tests of Apache Commons Math): 90th percentile of 12 values 95.1981."""
    assert cl.nist_percentile(np.array([*NIST_SAMPLE, 95.1682]), 90) == pytest.approx(95.1981, abs=0.00005)


def test_percentiles_never_leave_the_record():
    assert cl.nist_percentile(np.array([1.0, 2.0, 3.0]), 10) == 1.0
    assert cl.nist_percentile(np.array([1.0, 2.0, 3.0]), 90) == 3.0


def three_years():
    return np.arange(np.datetime64("2021-01-01"), np.datetime64("2024-01-01"))


def test_monthly_totals_are_averaged_over_the_years():
    dates = three_years()
    year = dates.astype("datetime64[Y]").astype(int) + 1970
    normal = cl.monthly_normal("rain", "mm", dates, (year - 2020).astype(float), total=True)
    days = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    assert normal.mean.tolist() == (2.0 * days).tolist()
    assert normal.p50.tolist() == (2.0 * days).tolist()
    assert normal.p10.tolist() == (1.0 * days).tolist()
    assert normal.years.tolist() == [3] * 12


def test_few_missing_days_are_scaled_and_a_thin_month_is_left_out():
    dates = three_years()
    rain = np.ones(len(dates))
    rain[:3] = np.nan  # January 2021 lacks 3 days: counts
    rain[31:40] = np.nan  # February 2021 lacks 9: left out
    normal = cl.monthly_normal("rain", "mm", dates, rain, total=True)
    assert normal.mean[0] == 31.0
    assert normal.years.tolist() == [3, 2] + [3] * 10


def test_a_month_no_year_covers_is_named():
    with pytest.raises(WaterInputError, match="no year covers month 3, 4"):
        dates = np.concatenate([three_years()[:59], three_years()[120:365]])
        cl.monthly_normal("rain", "mm", dates, np.ones(len(dates)), total=True)


def test_daily_normals_meet_the_monthly_means_and_join_round_the_year():
    totals = np.array([31, 56.5, 93, 120, 155, 180, 217, 186, 120, 93, 60, 31.0])
    dates = np.arange(np.datetime64("2023-01-01"), np.datetime64("2024-01-01"))
    daily = cl.daily_normals(totals, dates)
    assert daily[dates == np.datetime64("2023-07-16")] == pytest.approx(7.0, abs=0.03)
    assert daily[0] == pytest.approx(daily[-1], abs=0.05)
    assert daily.sum() == pytest.approx(totals.sum(), rel=0.02)


def test_missing_days_take_the_normal_of_the_day():
    dates = np.array(["2023-07-16", "2023-07-17"], dtype="datetime64[D]")
    filled = cl.filled_with_normals(np.array([np.nan, 2.0]), np.full(12, 31.0), dates)
    assert filled[1] == 2.0
    assert filled[0] == pytest.approx(1.0, abs=0.05)


def test_climate_of_the_real_series_is_that_of_a_wet_winter_and_dry_summer():
    climate = seattle_climate()
    assert (climate.first_year, climate.last_year, climate.fewest_years) == (2012, 2015, 4)
    assert climate.et_mm.mean.argmax() == 6
    assert climate.rain_mm.mean.argmin() == 6
    # Sum of the file's own column over four years, computed apart.
    assert climate.rain_mm.mean.sum() == pytest.approx(seattle_weather().rain_mm.sum() / 4, rel=1e-9)
    assert (climate.et_mm.p10 <= climate.et_mm.p50).all() and (climate.et_mm.p50 <= climate.et_mm.p90).all()


def ten_days(**fields):
    dates = np.arange(np.datetime64("2024-06-01"), np.datetime64("2024-06-11"))
    wave = np.sin(np.arange(10))
    return DailyWeather(dates, **({"tmax_c": 25 + wave, "tmin_c": 12 + wave} | fields))


def found(weather):
    site = StationGeometry(45.0, 100.0)
    return [(finding.row, finding.field, finding.check) for finding in cl.weather_findings(weather, site)]


def test_clean_weather_raises_no_doubt():
    assert found(ten_days()) == []


def test_each_check_points_at_its_row():
    hot, stuck = 25 + np.sin(np.arange(10)), np.sin(np.arange(10)) + 3
    hot[4], stuck[5:] = 58.0, 2.5
    findings = found(ten_days(tmax_c=hot, wind_m_s=stuck))
    assert findings == [
        (4, "tmax_c", "range"),
        (4, "tmax_c", "step"),
        (5, "tmax_c", "step"),
        (5, "wind_m_s", "persistence"),
        (6, "wind_m_s", "persistence"),
        (7, "wind_m_s", "persistence"),
        (8, "wind_m_s", "persistence"),
        (9, "wind_m_s", "persistence"),
    ]


def test_radiation_above_a_clear_sky_is_doubted_and_crossed_temperatures_too():
    envelope = cl.clear_sky_envelope(ten_days().dates, StationGeometry(45.0, 100.0))
    radiation = envelope * np.linspace(0.5, 0.9, 10)
    radiation[3] = envelope[3] * 1.2
    tmin = 12 + np.sin(np.arange(10))
    tmin[6] = 30.0
    assert found(ten_days(radiation_mj_m2=radiation, tmin_c=tmin)) == [
        (3, "radiation_mj_m2", "clear sky"),
        (6, "tmin_c", "order"),
    ]


def test_the_real_series_holds_one_stretch_of_equal_minima():
    findings = cl.weather_findings(seattle_weather(), SEATTLE)
    assert {(finding.field, finding.check) for finding in findings} == {("tmin_c", "persistence")}
    assert [finding.row for finding in findings] == [142, 143, 144, 145, 146]
