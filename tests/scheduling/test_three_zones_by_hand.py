"""Three zones followed by hand from the weather file to the minutes, and compared with what the page and API explain.

A spray lawn on a clay slope, shrubs on drip, a sports field under rotors: July of the measured Seattle series 2012 to
2015. Nothing here uses the water core; each line is one published formula in plain arithmetic:
- reference ET: FAO-56 Eq. 6 with Eq. 47, 48 and 50 (`reference_et_mm` of the season by hand);
- turf Kc of July 0.94: Meyer, Gibeault, Youngner 1985; shrubs 0.5: ANSI/ASABE S623.1 (2017); sports turf
  0.95: FAO-56 Table 12; part shade x 0.85: landscape coefficient method 2000, point inside its range;
- effective rain: USDA-NRCS NEH Part 623 chapter 2, Eq. 2-84 and 2-85;
- soil: FAO-56 Eq. 82, 83; available water, intake and surface accumulation of clay (170 mm/m, 2.5 mm/h, 2.5 mm above
  6 % slope), sandy loam (120, 10.2, 8.4) and loamy sand (80, 12.7, 9.1): testing protocol for climatologically based
  controllers (2008 draft), equal in two independent copies;
- multiplier 1 / (0.4 + 0.6 DU): Irrigation Association, March 2005, constants from memory;
- root depths, allowed depletion, DU of a drip grid, soak of 20 to 120 min, half of the week's rain: common practice.
"""

import csv
import datetime as dt
import io
import math
from dataclasses import dataclass

import pytest
from django.urls import reverse

from scheduling.actions.schedules import compute_draft
from tests import factories
from tests.scheduling.test_season_by_hand import reference_et_mm

DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)  # of 2015
MONDAY = dt.date(2015, 7, 13)


@dataclass(frozen=True)
class ByHand:
    """What a person with the register in hand would put into the formulas."""

    number: int
    kc: tuple[float, ...]  # January to December, exposure included
    rate: float  # mm/h
    du: float
    available: float  # mm of water a metre of soil
    roots_m: float
    mad: float
    intake: float  # mm/h
    accumulation: float  # mm
    litres_per_min: float
    shortest_run: int

    @property
    def taw(self):
        return self.available * self.roots_m

    @property
    def raw(self):
        return self.mad * self.taw

    @property
    def multiplier(self):
        return 1 / (0.4 + 0.6 * self.du)

    def rain(self, rain, demand):
        """USDA-SCS in mm, the usable storage half of TAW."""
        inches = 0.5 * self.taw / 25.4
        factor = 0.531747 + 0.295164 * inches - 0.057697 * inches**2 + 0.003804 * inches**3
        return max(0.0, min(factor * (1.25 * rain**0.824 - 2.93) * 10 ** (0.000955 * demand), rain, demand))

    def rhythm(self, demand_per_day):
        """Days a week, as many as the soil asks for; from a week on every so many weeks, four at most."""
        interval = math.floor(self.raw / demand_per_day + 1e-9)
        return math.ceil(7 / max(1, interval)) if interval < 7 else 1 / min(interval // 7, 4)

    def run(self, minutes):
        """(minutes of a day, cycles): whole, near what is asked and never 5 % above, cycles that do not run off."""
        wanted = max(minutes, self.shortest_run)
        longest = 60 * self.accumulation / (self.rate - self.intake) if self.rate > self.intake else math.inf
        if wanted <= longest + 0.5:  # a cycle may be half a minute too long
            return min((math.floor(wanted), math.ceil(wanted)), key=lambda whole: abs(whole - wanted)), 1
        whole = math.floor(longest + 0.5)
        pairs = [(length, count) for length in range(max(1, whole // 2), whole + 1) for count in range(1, 400)]
        near = [pair for pair in pairs if 0.95 * wanted <= pair[0] * pair[1] <= 1.05 * wanted]
        length, count = min(near, key=lambda pair: abs(pair[0] * pair[1] - wanted) + 0.5 * pair[1])
        return length * count, count


KC_LAWN = (0.61, 0.64, 0.75, 1.04, 0.95, 0.88, 0.94, 0.86, 0.74, 0.75, 0.69, 0.60)
LAWN = ByHand(1, KC_LAWN, 42.0, 0.55, 170, 0.15, 0.5, 2.5, 2.5, 105.0, 2)
SHRUBS = ByHand(2, (0.5 * 0.85,) * 12, 60 * 4.2 / 60, 0.85, 120, 0.45, 0.5, 10.2, 8.4, 4.2, 5)
FIELD = ByHand(3, (0.95,) * 12, 14.0, 0.70, 80, 0.20, 0.4, 12.7, 9.1, 14.0 / 60 * 7000, 2)
ZONES = [pytest.param(LAWN, id="spray lawn"), pytest.param(SHRUBS, id="shrubs"), pytest.param(FIELD, id="field")]


@pytest.fixture(scope="module")
def days(seattle_text):
    """Day -> (reference ET by hand, rain), mm, straight from the file."""
    rows = csv.DictReader(io.StringIO(seattle_text))
    dated = ((dt.date.fromisoformat(row["date"].replace("/", "-")), row) for row in rows)
    return {
        day: (
            reference_et_mm(day, float(row["temp_max"]), float(row["temp_min"]), float(row["wind"])),
            float(row["precipitation"]),
        )
        for day, row in dated
    }


@pytest.fixture(scope="module")
def normals(days):
    """(ET, rain) of each month: the mean over four years of the month's total."""
    return [
        tuple(sum(value[which] for day, value in days.items() if day.month == month) / 4 for which in (0, 1))
        for month in range(1, 13)
    ]


@pytest.fixture
def site(firm):
    """The three zones as they stand in a register, each on its own valve."""
    site = factories.make_small_site("Three zones")
    controller = site.controllers.get()
    lawn, shrubs = site.zones.order_by("number")
    measured = {"figures_origin": "measured", "measured_on": dt.date(2015, 5, 4)}
    change(
        lawn, name="Lawn on the slope", planting="cool_turf", emitter="fixed_spray", soil="clay", slope_percent=10,
        area_m2=150, application_rate_mm_h=42, distribution_uniformity=0.55, flow_l_min=105, **measured,
    )  # fmt: skip
    change(
        shrubs, name="Shrubs", planting="shrubs", emitter="drip_grid", soil="sandy_loam", exposure="part_shade",
        area_m2=60, application_rate_mm_h=None, distribution_uniformity=None, flow_l_min=4.2,
    )  # fmt: skip
    factories.ZoneFactory(
        site=site, valve=factories.ValveFactory(controller=controller, terminal=3), number=3, name="Sports field",
        planting="sports_turf", emitter="rotor", soil="loamy_sand", area_m2=7000, application_rate_mm_h=14,
        distribution_uniformity=0.70, flow_l_min=None, **measured,
    )  # fmt: skip
    return site


def change(row, **values):
    for name, value in values.items():
        setattr(row, name, value)
    row.save()


def explained(as_office, draft, zone, part):
    """Key -> derivation, as the API gives it."""
    answer = as_office.get(f"/api/schedules/{draft.pk}/zones/{zone.pk}/months/7/").json()
    return {figure["key"]: figure["derivation"] for figure in answer[part]}


def net_per_day(hand, normals):
    """Need of each month in mm a day."""
    demand = [kc * et for kc, (et, _) in zip(hand.kc, normals, strict=True)]
    rows = zip(demand, normals, DAYS, strict=True)
    return [(need - hand.rain(rain, need)) / length for need, (_, rain), length in rows]


@pytest.mark.parametrize("hand", ZONES)
def test_july_from_the_weather_to_the_minutes(seattle, site, as_office, normals, hand):
    et, rain = normals[6]
    demand = hand.kc[6] * et
    effective = hand.rain(rain, demand)
    net = demand - effective
    minutes_week = 60 * (net / 31 * 7) * hand.multiplier / hand.rate
    watering_days = hand.rhythm(demand / 31)
    run_time, cycles = hand.run(minutes_week / watering_days)
    expected = {
        "et_mm": et,
        "plant_factor": hand.kc[6],
        "demand_mm": demand,
        "effective_rain_mm": effective,
        "net_need_mm": net,
        "percent_of_peak": 100 * (net / 31) / max(net_per_day(hand, normals)),
        "application_rate_mm_h": hand.rate,
        "scheduling_multiplier": hand.multiplier,
        "raw_mm": hand.raw,
        "exact_run_time_min_per_week": minutes_week,
        "days_per_week": watering_days,
        "run_time_min": run_time,
        "cycles": cycles,
        "litres": run_time * watering_days * 31 / 7 * hand.litres_per_min,
    }
    draft = compute_draft(site=site, today=MONDAY, by=None, month=7)
    zone = site.zones.get(number=hand.number)
    found = explained(as_office, draft, zone, "figures")
    assert {key: figure["value"] for key, figure in found.items()} == pytest.approx(expected, rel=1e-6)
    step = draft.programs.get(steps__zone=zone).steps.get(zone=zone)
    assert (step.run_time_min, step.cycles) == (run_time, cycles)
    page = as_office.get(reverse("scheduling:figure", args=[draft.pk, zone.pk, 7])).content.decode()
    for shown in (f"{et:.1f} mm", f"{net:.1f} mm", f"{hand.raw:.1f} mm", f"{minutes_week:.4g} min/week"):
        assert shown in page


@pytest.mark.parametrize("hand", ZONES)
def test_the_week_ahead_from_the_soil_of_this_morning(seattle, site, as_office, hand):
    """13 July: each watering refills what the week's table says the soil lacks, and the minutes follow from it."""
    draft = compute_draft(site=site, today=MONDAY, by=None)
    zone = site.zones.get(number=hand.number)
    found = {key: figure["value"] for key, figure in explained(as_office, draft, zone, "week").items()}
    week = draft.basis["advice"][str(zone.pk)]
    assert week["mornings_raw_mm"][1] == pytest.approx(hand.raw, abs=0.01)
    if not week["dates"]:
        assert found == {}
        assert max(week["mornings_depletion_mm"]) < hand.raw
        return
    first = next(row for row, mm in enumerate(week["mornings_depth_mm"]) if mm)
    assert week["mornings_reaches_mm"][first] > hand.raw
    depth = found["depth_mm"]
    assert depth <= week["mornings_depletion_mm"][first] + 0.001
    minutes = 60 * depth * hand.multiplier / hand.rate
    assert found["exact_run_time_min"] == pytest.approx(minutes, rel=1e-6)
    assert hand.run(minutes) == (found["run_time_min"], found["cycles"])
    assert found["litres"] == pytest.approx(found["run_time_min"] * len(week["dates"]) * hand.litres_per_min)
    step = draft.programs.get(steps__zone=zone).steps.get(zone=zone)
    assert (step.run_time_min, step.cycles) == (found["run_time_min"], found["cycles"])
    assert sorted(dt.date.fromisoformat(day).weekday() for day in week["dates"]) == step.program.weekdays


def test_the_slope_needs_short_cycles_and_a_soak_and_each_figure_says_where_it_is_from(seattle, site, as_office):
    """Clay at 10 %: 60 x 2.5 / (42 - 2.5) = 3.8 min until water runs off, 60 x 2.5 / 2.5 = 60 min to soak in."""
    draft = compute_draft(site=site, today=MONDAY, by=None, month=7)
    lawn, shrubs, field = site.zones.order_by("number")
    step = draft.programs.get(steps__zone=lawn).steps.get(zone=lawn)
    assert step.cycles > 1
    assert step.run_time_min / step.cycles <= 3.8 + 0.5
    assert step.soak_min == 60
    of_lawn, of_shrubs = (explained(as_office, draft, zone, "figures") for zone in (lawn, shrubs))
    uniformity, of_drip = (figures["scheduling_multiplier"]["inputs"][0] for figures in (of_lawn, of_shrubs))
    assert (uniformity["origin"], uniformity["note"]) == ("measured", "measured on 4 May 2015")
    assert (of_drip["origin"], of_drip["value"]) == ("default", 0.85)
    assert of_shrubs["application_rate_mm_h"]["formula"] == "application rate = 60 Q / A"
    assert explained(as_office, draft, field, "figures")["litres"]["formula"].endswith("(1 mm on 1 m2 = 1 L)")
