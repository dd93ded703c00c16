import random
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.core.routing.frost import (
    FreezeLadder,
    FreezeRecord,
    FreezeRisk,
    freeze_risk,
    looks_normal,
    nist_percentile,
    season_half,
    startup_opens,
    winterise_by,
)

# Own sample, worked by hand in the form of Koss et al. 1988.
SPRING = (104, 98, 112, 121, 95, 109, 117, 101, 90, 125, 113, 106, 99, 119, 108, 110, 103, 115, 97, 122)
AUTUMN = (285, 292, 279, 300, 288, 296, 283, 305, 290, 281, 294, 277, 299, 287, 302, 291, 284, 297, 289)


def spring(method):
    return FreezeRisk("spring", 0.0, SPRING, 20, method=method)


def autumn(method):
    return FreezeRisk("autumn", 0.0, AUTUMN, 20, method=method)  # one season without freeze


def test_percentile_rule_gives_the_handbook_value():
    # NIST/SEMATECH e-Handbook, twelve values, 90th percentile 95.1981.
    values = [95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610]
    values += [95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682]
    assert nist_percentile(values, 0.90) == pytest.approx(95.1981, abs=0.00005)
    assert nist_percentile(values, 0.01) == 95.0610
    assert nist_percentile(values, 0.99) == 95.1990
    with pytest.raises(ValueError, match="percentile"):
        nist_percentile([], 0.5)


@pytest.mark.parametrize(
    ("method", "chance", "day", "tolerance"),
    [
        ("normal", 0.9, 95.6, 0.05),
        ("normal", 0.5, 108.2, 0.05),
        ("normal", 0.1, 120.8, 0.1),
        ("empirical", 0.9, 95.2, 0.05),
        ("empirical", 0.5, 108.5, 0.05),
        ("empirical", 0.1, 121.9, 0.05),
    ],
)
def test_spring_sample_of_the_reference(method, chance, day, tolerance):
    assert spring(method).day_at(chance) == pytest.approx(day, abs=tolerance)


@pytest.mark.parametrize(
    ("method", "chance", "day"),
    [
        ("normal", 0.1, 280.5),
        ("normal", 0.5, 291.0),
        ("normal", 0.9, 303.4),
        ("empirical", 0.1, 279.2),
        ("empirical", 0.5, 290.5),
        ("empirical", 0.9, 304.8),
    ],
)
def test_autumn_sample_with_one_season_without_freeze(method, chance, day):
    assert autumn(method).day_at(chance) == pytest.approx(day, abs=0.1)


def test_dates_are_rounded_to_the_safe_side():
    assert spring("empirical").date_at(0.1, 2025) == date(2025, 5, 2)  # day 121.9 in the reference
    assert autumn("normal").date_at(0.1, 2025) == date(2025, 10, 7)  # day 280.48 rounded down to 280


def test_a_chance_no_season_share_reaches_has_no_date():
    rare = FreezeRisk("autumn", -2.2, (350.0, 355.0), 20)
    assert rare.day_at(0.10) is None
    limit = winterise_by(rare, 2025, 0.10, "Harbour", "-2.2 °C")
    assert limit.on is None
    assert limit.reason == "-2.2 °C met in 2 of 20 seasons only, Harbour"


@given(
    st.lists(st.integers(60, 170), min_size=5, max_size=30),
    st.sampled_from(["normal", "empirical"]),
    st.integers(0, 8),
    st.sampled_from(["spring", "autumn"]),
)
def test_chance_of_a_date_undoes_the_date_of_a_chance(dates, method, without, side):
    risk = FreezeRisk(side, 0.0, tuple(map(float, dates)), len(dates) + without, method=method)
    days = [risk.day_at(p) for p in (0.1, 0.3, 0.5)]
    known = [d for d in days if d is not None]
    assert known == sorted(known, reverse=side == "spring")
    on = risk.date_at(0.3, 2025)
    if on is not None and method == "normal" and len(set(dates)) > 1:
        assert risk.chance(on, 2025) <= 0.3 + 1e-9
        step = -1 if side == "spring" else 1
        assert risk.chance(on + timedelta(step), 2025) >= 0.3 - 1e-9


def minima(years, cold, *, mild=8.0):
    """A record that is mild on every day but the cold ones."""
    record = {date(years[0], 1, 1) + timedelta(i): mild for i in range(366 * (len(years) + 1))}
    record = {d: t for d, t in record.items() if d.year in years}
    return record | cold


def test_last_spring_and_first_autumn_freeze_are_taken_from_their_own_halves():
    record = minima(
        range(2000, 2004),
        {date(y, m, d): -1.0 for y in range(2000, 2004) for m, d in ((1, 20), (4, 10), (10, 20), (12, 5))},
    )
    risk = freeze_risk(record, "spring", 0.0, latitude=47)
    assert [date(2000 + i, 1, 1) + timedelta(x - 1) for i, x in enumerate(risk.dates)] == [
        date(y, 4, 10) for y in range(2000, 2004)
    ]
    assert set(freeze_risk(record, "autumn", 0.0, latitude=47).dates) == {293.0, 294.0}
    assert freeze_risk(record, "autumn", -2.2, latitude=47).dates == ()


def test_the_southern_year_is_shifted_by_six_months():
    assert season_half("spring", 2001, southern=True) == (date(2001, 7, 1), date(2002, 1, 31))
    assert season_half("autumn", 2001, southern=True) == (date(2002, 2, 1), date(2002, 6, 30))
    record = minima(range(2000, 2004), {date(y, m, 10): -1.0 for y in range(2000, 2004) for m in (5, 9)})
    risk = freeze_risk(record, "spring", 0.0, latitude=-37)
    assert risk.date_at(0.5, 2002) == date(2002, 9, 10)
    assert set(risk.dates) == {72.0}  # 10 September is the 72nd day from 1 July
    assert set(freeze_risk(record, "autumn", 0.0, latitude=-37).dates) == {314.0, 315.0}


def test_a_higher_site_freezes_earlier_by_the_lapse_rate():
    cold = {date(y, 10, 1) + timedelta(i): 3.0 - 0.1 * i for y in range(2000, 2005) for i in range(60)}
    record = minima(range(2000, 2005), cold)
    at_station = freeze_risk(record, "autumn", 0.0, latitude=47)
    above = freeze_risk(record, "autumn", 0.0, latitude=47, rise_m=200)
    # 200 m are 1.3 K; the record falls 0.1 K a day: 13 days earlier, by hand.
    assert {a - b for a, b in zip(at_station.dates, above.dates, strict=True)} == {13.0}


def test_a_season_with_a_gap_where_freezes_happen_is_rejected_and_one_elsewhere_is_not():
    record = minima(range(2000, 2004), {date(y, 10, 20): -1.0 for y in range(2000, 2004)})
    for i in range(11):
        del record[date(2001, 10, 8) + timedelta(i)]
        del record[date(2002, 8, 5) + timedelta(i)]
    risk = freeze_risk(record, "autumn", 0.0, latitude=47)
    assert (risk.seasons, risk.rejected) == (3, (2001,))


def test_a_short_record_is_usable_and_says_so():
    record = minima(range(2012, 2016), {date(y, 10, 18 + y % 4 * 3): -3.0 for y in range(2012, 2016)})
    risk = freeze_risk(record, "autumn", -2.2, latitude=47.6, rise_m=120)
    limit = winterise_by(risk, 2025, 0.10, "Harbour + 120 m", "-2.2 °C")
    assert (risk.seasons, risk.sufficient, limit.sufficient) == (4, False, False)
    # Days 292, 294, 297, 300: mean 295.75, s 3.5, less 1.28155 s = 291.26; day 291 of 2025 is 18 October.
    assert limit.on == date(2025, 10, 18)
    assert limit.reason == (
        "10 % chance of -2.2 °C by {day:2025-10-18}, Harbour + 120 m (insufficient: 4 seasons of at least 20)"
    )
    assert freeze_risk({}, "autumn", 0.0, latitude=47).day_at(0.1) is None


def test_a_long_record_gives_a_plain_reason():
    limit = startup_opens(spring("normal"), 2025, 0.10, "Harbour - 40 m", "0 °C")
    assert limit.reason == "10 % chance of 0 °C after {day:2025-05-01}, Harbour - 40 m"
    assert limit.sufficient


def test_normality_test_accepts_normal_and_rejects_skewed_samples():
    rng = random.Random(1)
    assert looks_normal(SPRING)
    normal = sum(looks_normal([rng.gauss(100, 10) for _ in range(30)]) for _ in range(400))
    skewed = sum(looks_normal([rng.expovariate(1) for _ in range(30)]) for _ in range(400))
    assert 0.92 <= normal / 400 <= 0.98  # a 5 % test accepts 95 % of normal samples
    assert skewed / 400 < 0.1
    assert not looks_normal([5, 5, 5, 5])


def noisy(seed, years, *, gaps=0.0):
    """A record with cold and mild years, and some days left out."""
    rng = random.Random(seed)
    record = {}
    for year in years:
        cold_year = rng.gauss(0, 2)
        for day in range(1, 366):
            if rng.random() >= gaps:
                mean = (min(day, 365 - day) - 85) / 8
                record[date(year, 1, 1) + timedelta(day - 1)] = round(mean + cold_year + rng.gauss(0, 3), 1)
    return record


@given(st.integers(0, 10**6), st.sampled_from(["spring", "autumn"]), st.integers(-300, 600), st.floats(0, 0.15))
def test_a_prepared_record_finds_what_a_scan_of_every_day_finds(seed, side, rise_m, gaps):
    years = range(2001, 2009)
    minima_c = noisy(seed, years, gaps=gaps)
    limit_c = -2.2 + 0.0065 * rise_m
    found = {}
    for year in years:
        first, last = season_half(side, year, southern=False)
        cold = [d for d in sorted(minima_c) if first <= d <= last and minima_c[d] <= limit_c]
        if cold:
            found[year] = (cold[-1] if side == "spring" else cold[0]).timetuple().tm_yday
    seen = found.values()
    valid = []
    for year in years:
        first, last = season_half(side, year, southern=False)
        if seen:
            start = date(year, 1, 1)
            first = max(first, start + timedelta(min(seen) - 1 - 15))
            last = min(last, start + timedelta(max(seen) - 1 + 15))
        days = [first + timedelta(n) for n in range((last - first).days + 1)]
        if sum(d not in minima_c for d in days) <= 10:
            valid.append(year)
    risk = FreezeRecord.of(minima_c, side, 47).risk(-2.2, rise_m)
    assert risk.seasons == len(valid)
    assert risk.dates == tuple(found[year] for year in valid if year in found)
    assert risk.rejected == tuple(year for year in years if year not in valid)


@pytest.mark.slow
@given(
    st.integers(0, 10**6), st.lists(st.integers(-400, 900), min_size=2, max_size=6), st.sampled_from([0.1, 0.2, 0.5])
)
def test_a_higher_site_is_never_due_later_nor_opened_earlier(seed, rises, chance):
    record = noisy(seed, range(2001, 2024), gaps=0.04)
    due = FreezeLadder(FreezeRecord.of(record, "autumn", 47), -2.2)
    opens = FreezeLadder(FreezeRecord.of(record, "spring", 47), -2.2)
    ends = [due.date_at(rise, 2025, chance) or date.max for rise in sorted(rises)]
    starts = [opens.date_at(rise, 2025, chance) or date.min for rise in sorted(rises)]
    assert due.at_station.sufficient and due.date_at(0, 2025, chance)
    assert ends == sorted(ends, reverse=True)
    assert starts == sorted(starts)


def test_fits_of_single_heights_do_cross_which_is_why_there_is_a_ladder():
    record = FreezeRecord.of(noisy(3, range(2001, 2024), gaps=0.04), "autumn", 47)
    alone = [record.risk(-2.2, rise).day_at(0.1) for rise in range(0, 600, 10)]
    assert alone != sorted(alone, reverse=True)


def test_heights_count_in_whole_steps_upwards():
    # Falls 0.01 K a day: 10 m are 0.065 K, six days and a half.
    cold = {date(y, 9, 1) + timedelta(i): 1.0 - 0.01 * i for y in range(2000, 2005) for i in range(120)}
    ladder = FreezeLadder(FreezeRecord.of(minima(range(2000, 2005), cold), "autumn", 47), 0.0)
    dates = [ladder.date_at(rise, 2025, 0.5) for rise in (0, 1, 10, 10.1, 20, -9, -10)]
    assert dates[0] == date(2025, 12, 10)  # 0.00 degC on the hundredth day after 1 September
    assert dates[1] == dates[2] == date(2025, 12, 4)  # 0.06 degC, the first at or below 0.065
    assert dates[3] == dates[4] < dates[2]
    assert (dates[5], dates[6]) == (dates[0], date(2025, 12, 17))  # -0.07 degC, the first at or below -0.065
