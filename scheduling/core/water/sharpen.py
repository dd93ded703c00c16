"""Which measurement would sharpen a zone's schedule most: each figure nobody measured, moved over its usual range."""

from __future__ import annotations

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
