"""How each figure of a zone came about, built when somebody asks (thousands of zones are computed unseen)."""

from __future__ import annotations

import calendar
import math

from scheduling.core.water import demand, soil
from scheduling.core.water.application import LOWEST_DU_TO_WATER_BY
from scheduling.core.water.derivation import Derivation, Input, Known, known
from scheduling.core.water.season import USABLE_STORAGE_SHARE, ZoneMonth, ZoneSeason
from scheduling.core.water.week import ThisWeek
from scheduling.core.water.zone_inputs import ResolvedZone
from sites.core import writing
from sites.core.sources import (
    DEFINITION,
    FAO56_BALANCE,
    FAO56_ET,
    FAO56_INTERVAL,
    FAO56_SOIL,
    IA_2005,
    LCM_2000,
    NEH_623,
    S623,
    SLIDE,
    SWAT_2008,
    joined,
)


def explain_month(season: ZoneSeason, month: int) -> dict[str, Derivation]:
    """Derivation of every figure of one month (1..12), keyed by the `ZoneMonth` field it explains.

    Adds the keys application_rate_mm_h, scheduling_multiplier, raw_mm.
    """
    found = season.months[month - 1]
    return {
        "et_mm": _reference_et(season, month),
        "plant_factor": _plant_factor(season, month),
        "demand_mm": Derivation(
            found.demand_mm,
            "mm",
            "demand = K x ETo",
            (_computed("K", found.plant_factor, ""), _computed("ETo", found.et_mm, "mm")),
            joined(S623, SLIDE, LCM_2000),
        ),
        "effective_rain_mm": _effective_rain(season, found),
        "net_need_mm": _net_need(found),
        "percent_of_peak": Derivation(
            found.percent_of_peak,
            "%",
            "100 x need per day / need per day of the peak month",
            (
                _computed("need per day", found.net_need_mm_day, "mm/day"),
                _computed("peak need per day", season.peak.net_need_mm_day, "mm/day"),
            ),
            DEFINITION,
        ),
        "application_rate_mm_h": season.zone.rate.derivation,
        "scheduling_multiplier": _multiplier(season),
        "raw_mm": _readily_available(season, month),
        **_watering(season, found, found.exact_run_time_min_per_week, 7.0 * found.net_need_mm_day),
        "litres": _litres(season, found.litres, "month", found.run_time_min_per_week),
    }


def _net_need(found: ZoneMonth) -> Derivation:
    inputs = (
        _computed("demand", found.demand_mm, "mm"),
        _computed("effective rain", found.effective_rain_mm, "mm"),
    )
    formula = found.zero_because or "net need = demand - effective rain, not below 0"
    return Derivation(found.net_need_mm, "mm", formula, inputs, "water balance of the month")


def explain_week(season: ZoneSeason, week: ThisWeek) -> dict[str, Derivation]:
    """Derivation of every figure of the coming week's waterings, keyed by the `ThisWeek` field it explains.

    Why they fall on their days is told by the week's mornings, a row each.
    """
    if not week.dates:
        return {}
    zone, first = season.zone, next(each for each in week.mornings if each.depth_mm > 0)
    morning = writing.day_month(first.date)
    inputs = [
        _computed(f"depletion on the morning of {morning}, looked ahead", first.depletion_mm, "mm"),
        _computed("room left for the rain counted until the week's end", first.room_mm, "mm"),
        _computed("waterings of the week", float(len(week.dates)), ""),
    ]
    if week.shared_mm > 0:
        inputs.append(_computed("more in the week, because zones of a program share its days", week.shared_mm, "mm"))
    depth = Derivation(
        week.depth_mm,
        "mm",
        "depth = depletion - room for rain, not below 0; several waterings of a week get their mean, or what the "
        "soil takes on the day with least room",
        tuple(inputs),
        joined(FAO56_BALANCE, "the share of rain counted: no source, tried on recorded years"),
    )
    minutes = Derivation(
        week.exact_run_time_min,
        "min",
        "run time = 60 x depth x SM / application rate",
        (
            _computed("depth", week.depth_mm, "mm"),
            _computed("scheduling multiplier SM", zone.multiplier, ""),
            _computed("application rate", zone.rate.value_mm_h, "mm/h"),
        ),
        DEFINITION,
    )
    return {
        "depth_mm": depth,
        "plant_factor": _plant_factor(season, week.month),
        "raw_mm": _readily_available(season, week.month),
        "application_rate_mm_h": zone.rate.derivation,
        "scheduling_multiplier": _multiplier(season),
        "exact_run_time_min": minutes,
        "run_time_min": _rounded(zone, week, week.exact_run_time_min),
        "cycles": _cycles(zone, week.cycles),
        "litres": _litres(season, week.litres, "week", float(week.run_time_min * len(week.dates))),
    }


def _rounded(zone: ResolvedZone, found: ZoneMonth | ThisWeek, exact_min: float) -> Derivation:
    return Derivation(
        float(found.run_time_min),
        "min",
        f"whole minutes a watering day, at least {zone.shortest_run_min}, never more than 5 % above; "
        f"{found.cycles} x {found.cycle_min} min",
        (_computed("run time of a watering day", exact_min, "min"),),
        "rounded once; shortest run is common practice",
    )


def _computed(name: str, value: float, unit: str) -> Input:
    return Input(name, value, unit, "computed")


def _from_known(name: str, found: Known, unit: str) -> Input:
    return Input(name, found.value, unit, found.origin, found.note)


def _reference_et(season: ZoneSeason, month: int) -> Derivation:
    climate = season.climate
    years = int(climate.et_mm.years[month - 1])
    value = float(climate.et_mm.mean[month - 1])
    note = f"station {climate.station}, {climate.first_year} to {climate.last_year}"
    days = Input("daily reference ET", f"{years} years", "", "station", note)
    formula = "mean over the years of the month's total"
    return Derivation(value, "mm", formula, (days,), FAO56_ET.short)


def _plant_factor(season: ZoneSeason, month: int) -> Derivation:
    zone, found = season.zone.zone, season.months[month - 1]
    planting = demand.PLANTINGS[zone.planting]
    own = known(zone.plant_factor)
    share = float(season.establishment[month - 1])
    inputs: list[Input] = []
    if own is not None:
        inputs.append(_from_known("plant factor of the zone", own, ""))
        formula, source = "K = plant factor of the zone", "entered for the zone"
    else:
        exposure = demand.EXPOSURE_FACTOR[zone.exposure]
        bare = float(
            demand.monthly_plant_factor(zone.planting, "sun", season.zone.southern, zone.humid_climate)[month - 1]
        )
        inputs.append(Input(f"factor of {planting.label.lower()}", bare, "", "default", planting.source))
        inputs.append(Input("exposure factor", exposure, "", "register", f"exposure: {zone.exposure}"))
        formula, source = "K = factor of the planting x exposure factor", planting.source
    if share > 0:
        inputs.append(_computed("newness of the planting (1 = just planted)", share, ""))
        formula += ", raised toward the establishment factor while new (common practice)"
    return Derivation(found.plant_factor, "", formula, tuple(inputs), source)


def _effective_rain(season: ZoneSeason, found: ZoneMonth) -> Derivation:
    climate = season.climate
    note = f"normal of {climate.station}, {climate.first_year} to {climate.last_year}"
    storage = USABLE_STORAGE_SHARE * float(season.taw_mm[found.month - 1])
    return Derivation(
        found.effective_rain_mm,
        "mm",
        "Pe = SF (1.25 P^0.824 - 2.93) 10^(0.000955 ETc), not above P or ETc; SF from the usable storage D",
        (
            Input("rain P", float(climate.rain_mm.mean[found.month - 1]), "mm", "station", note),
            _computed("demand ETc", found.demand_mm, "mm"),
            _computed("usable storage D (half of TAW)", storage, "mm"),
        ),
        NEH_623.short,
    )


def _multiplier(season: ZoneSeason) -> Derivation:
    du = season.zone.du_lq
    formula = "SM = 1 / (0.4 + 0.6 DU), DU not below 0.40"
    if du.value < LOWEST_DU_TO_WATER_BY:
        formula += "; repair before adding water"
    inputs = (_from_known("distribution uniformity DU", du, ""),)
    return Derivation(season.zone.multiplier, "", formula, inputs, IA_2005.unconfirmed)


def _readily_available(season: ZoneSeason, month: int) -> Derivation:
    zone = season.zone
    available = Input(
        "available water",
        zone.texture.available_mm_m,
        "mm/m",
        zone.texture_input.origin,
        f"table value for {zone.texture.label.lower()}, {SWAT_2008.unconfirmed}; {zone.texture_input.note}".rstrip(
            "; "
        ),
    )
    inputs: tuple[Input, ...] = (
        available,
        _from_known("root depth", zone.root_depth_m, "m"),
        _from_known("allowed depletion MAD", zone.mad, ""),
    )
    formula = "RAW = MAD x available water x root depth"
    demand_mm_day = season.months[month - 1].demand_mm / calendar.monthrange(season.year, month)[1]
    if float(soil.allowed_share(zone.mad.value, demand_mm_day)) < zone.mad.value:
        formula = "RAW = (MAD + 0.04 (5 - demand a day)) x available water x root depth, MAD the most"
        inputs = (*inputs, _computed("demand a day", demand_mm_day, "mm/day"))
    if season.establishment[month - 1] > 0:
        formula += " (root depth reduced while the planting is new, common practice)"
    return Derivation(
        float(season.raw_mm[month - 1]),
        "mm",
        formula,
        inputs,
        joined(FAO56_SOIL, "FAO-56 Table 22 note above 5 mm a day"),
    )


def _watering(season: ZoneSeason, found: ZoneMonth, exact_min: float, net_week_mm: float) -> dict[str, Derivation]:
    zone = season.zone
    days_of_demand = float(calendar.monthrange(season.year, found.month)[1])
    week = Derivation(
        exact_min,
        "min/week",
        "run time = 60 x net need of the week x SM / application rate",
        (
            _computed("net need of a week", net_week_mm, "mm"),
            _computed("scheduling multiplier SM", zone.multiplier, ""),
            _computed("application rate", zone.rate.value_mm_h, "mm/h"),
        ),
        DEFINITION,
    )
    days = Derivation(
        float(found.days_per_week),
        "days/week",
        "7 / longest interval rounded up, not above the permitted days; from a week on in whole weeks, at most 4; "
        "interval = whole days of RAW, or of what a night can put down, / demand",
        (
            _computed("RAW", float(season.raw_mm[found.month - 1]), "mm"),
            _computed(f"demand of {days_of_demand:g} days", found.demand_mm, "mm"),
        ),
        FAO56_INTERVAL.short,
    )
    return {
        "exact_run_time_min_per_week": week,
        "days_per_week": days,
        "run_time_min": _rounded(zone, found, exact_min / found.days_per_week if found.days_per_week else 0.0),
        "cycles": _cycles(zone, found.cycles),
    }


def _cycles(zone: ResolvedZone, cycles: int) -> Derivation:
    soil_inputs = (
        Input("basic intake", zone.texture.intake_mm_h, "mm/h", zone.texture_input.origin, zone.texture_input.note),
        Input("surface accumulation", zone.accumulation_mm, "mm", zone.texture_input.origin, ""),
        _from_known("slope", zone.slope_percent, "%"),
    )
    return Derivation(
        float(cycles),
        "cycles",
        "fewest cycles no longer than 60 x accumulation / (rate - intake); soak 60 x accumulation / intake",
        soil_inputs,
        joined(SWAT_2008, "soak limits 20 to 120 min common practice"),
    )


def _litres(season: ZoneSeason, litres: float | None, period: str, minutes_per_week: float) -> Derivation:
    zone = season.zone
    minutes = _computed("run time a week", minutes_per_week, "min")
    if zone.flow_l_min is not None:
        inputs: tuple[Input, ...] = (minutes, _from_known("flow", zone.flow_l_min, "L/min"))
        formula = f"run time of the {period} x flow"
    elif zone.area_m2 is not None:
        rate = _computed("application rate", zone.rate.value_mm_h, "mm/h")
        inputs = (minutes, rate, _from_known("area", zone.area_m2, "m2"))
        formula = f"run time of the {period} x application rate x area (1 mm on 1 m2 = 1 L)"
    else:
        inputs, formula = (minutes,), "not computed: needs flow or area"
    return Derivation(None if litres is None or math.isnan(litres) else litres, "L", formula, inputs, DEFINITION)
