"""Which measurement would sharpen a zone's schedule most: each figure nobody measured, moved over its usual range."""

from __future__ import annotations

import calendar
from dataclasses import dataclass, replace

from scheduling.core.water import application, soil
from scheduling.core.water.climate import Climatology
from scheduling.core.water.derivation import CannotCompute
from scheduling.core.water.season import ZoneSeason, zone_season
from scheduling.core.water.zone_inputs import LIMITS, ZoneInputs

# How far a default may be off: ranges of the emitter classes, every texture, and these; common practice, no source.
ROOT_DEPTH_SPREAD, MAD_SPREAD = 0.4, 0.1
# How far the field may lie from the design, the rate as a share of it, the uniformity up or down; the same.
DESIGN_RATE_SPREAD, DESIGN_DU_SPREAD = 0.2, 0.1


@dataclass(frozen=True)
class Sharpening:
    """What one unmeasured input leaves open in the peak month.

    `least_min_per_week` to `most_min_per_week` is the peak month's run time over the input's usual range;
    `spread_percent` is that width against the present figure. `changes_days` tells that the days would change.
    """

    measurement: str
    least_min_per_week: float
    most_min_per_week: float
    spread_percent: float
    changes_days: bool


def measurements_worth_taking(
    zone: ZoneInputs, climate: Climatology, year: int
) -> tuple[Sharpening, ...] | CannotCompute:
    """The inputs nobody measured, the most telling first: those with a usual value, and rate and DU of the design."""
    now = zone_season(zone, climate, year)
    if isinstance(now, CannotCompute):
        return now
    found = [_sharpening(name, now, trials, climate) for name, trials in _trials(now).items()]
    return tuple(sorted(found, key=lambda each: (-each.spread_percent, not each.changes_days, each.measurement)))


def _trials(now: ZoneSeason) -> dict[str, list[ZoneInputs]]:
    settled, zone = now.zone, now.zone.zone
    emitter = application.EMITTERS[zone.emitter]
    trials: dict[str, list[ZoneInputs]] = {}
    if settled.rate.derivation.defaults and emitter.rate_range_mm_h:
        rates = emitter.rate_range_mm_h
        trials["application rate"] = [replace(zone, application_rate_mm_h=rate) for rate in rates]
    elif settled.rate.derivation.inputs[0].origin == "register":  # the rate itself, or the flow behind it
        shares = (1 - DESIGN_RATE_SPREAD, 1 + DESIGN_RATE_SPREAD)
        about = [_within("application_rate_mm_h", settled.rate.value_mm_h * share) for share in shares]
        trials["application rate"] = [replace(zone, application_rate_mm_h=rate) for rate in about]
    if settled.du_lq.origin == "default":
        trials["distribution uniformity"] = [replace(zone, du_lq=du) for du in emitter.du_range]
    elif settled.du_lq.origin == "register":
        about = [_within("du_lq", settled.du_lq.value + step) for step in (-DESIGN_DU_SPREAD, DESIGN_DU_SPREAD)]
        trials["distribution uniformity"] = [replace(zone, du_lq=du) for du in about]
    if settled.texture_input.origin == "default":
        trials["soil texture"] = [replace(zone, soil_texture=key) for key in soil.TEXTURES]
    if settled.root_depth_m.origin == "default":
        depth = settled.root_depth_m.value
        spread = (1 - ROOT_DEPTH_SPREAD, 1 + ROOT_DEPTH_SPREAD)
        trials["root depth"] = [replace(zone, root_depth_m=depth * share) for share in spread]
    if settled.mad.origin == "default":
        mad = settled.mad.value
        trials["allowed depletion"] = [replace(zone, mad=mad + step) for step in (-MAD_SPREAD, MAD_SPREAD)]
    return trials


def _within(field: str, value: float) -> float:
    """The figure, no further off than the register would take it."""
    low, high = LIMITS[field]
    return min(max(value, low), high)


def _sharpening(name: str, now: ZoneSeason, trials: list[ZoneInputs], climate: Climatology) -> Sharpening:
    peak = now.peak
    others = []
    for trial in trials:
        season = zone_season(trial, climate, now.year)
        assert isinstance(season, ZoneSeason)
        others.append(season.months[peak.month - 1])
    minutes = [month.exact_run_time_min_per_week for month in (peak, *others)]
    base = peak.exact_run_time_min_per_week
    return Sharpening(
        name,
        min(minutes),
        max(minutes),
        100.0 * (max(minutes) - min(minutes)) / base if base > 0 else 0.0,
        any(month.days_per_week != peak.days_per_week for month in others),
    )


ASSUMED_SPREAD = 0.2  # how far an assumed figure is moved to see what hangs on it


@dataclass(frozen=True)
class YearMove:
    """What the year's water does where one assumed figure is a fifth lower and a fifth higher, in percent."""

    assumed: str
    lower_percent: float
    higher_percent: float


def year_moves(zone: ZoneInputs, climate: Climatology, year: int) -> tuple[YearMove, ...]:
    """Every figure that nobody measured or entered, the one that moves the year's water most first."""
    now = zone_season(zone, climate, year)
    if isinstance(now, CannotCompute) or _year_minutes(now) <= 0:
        return ()
    settled = now.zone
    trials: dict[str, tuple[tuple[ZoneInputs, Climatology], ...]] = {}
    shares = (1 - ASSUMED_SPREAD, 1 + ASSUMED_SPREAD)
    if zone.plant_factor is None:
        # Demand is factor times reference ET: scaling either is the same.
        trials["plant factor"] = tuple((zone, _scaled_et(climate, share)) for share in shares)
    if settled.du_lq.origin == "default":
        uniform = [_within("du_lq", settled.du_lq.value * share) for share in shares]
        trials["distribution uniformity"] = tuple((replace(zone, du_lq=du), climate) for du in uniform)
    if settled.root_depth_m.origin == "default" or settled.texture_input.origin == "default":
        name = "root depth" if settled.root_depth_m.origin == "default" else "what the soil holds"
        depths = [_within("root_depth_m", settled.root_depth_m.value * share) for share in shares]
        trials[name] = tuple((replace(zone, root_depth_m=depth), climate) for depth in depths)
    found = []
    for name, pair in trials.items():
        lower, higher = (_change_percent(now, *trial, year) for trial in pair)
        found.append(YearMove(name, lower, higher))
    return tuple(sorted(found, key=lambda move: -max(abs(move.lower_percent), abs(move.higher_percent))))


def _scaled_et(climate: Climatology, share: float) -> Climatology:
    return replace(climate, et_mm=replace(climate.et_mm, mean=climate.et_mm.mean * share))


def _year_minutes(season: ZoneSeason) -> float:
    """Minutes of the year before rounding; litres go with them."""
    days = (calendar.monthrange(season.year, month.month)[1] for month in season.months)
    return sum(
        month.exact_run_time_min_per_week * count / 7.0 for month, count in zip(season.months, days, strict=True)
    )


def _change_percent(now: ZoneSeason, zone: ZoneInputs, climate: Climatology, year: int) -> float:
    other = zone_season(zone, climate, year)
    assert isinstance(other, ZoneSeason)
    return 100.0 * (_year_minutes(other) / _year_minutes(now) - 1.0)
