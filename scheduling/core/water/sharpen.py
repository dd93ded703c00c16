"""Which measurement would sharpen a zone's schedule most: each default moved over its usual range."""

from __future__ import annotations

from dataclasses import dataclass, replace

from scheduling.core.water import application, soil
from scheduling.core.water.climate import Climatology
from scheduling.core.water.derivation import CannotCompute
from scheduling.core.water.season import ZoneSeason, zone_season
from scheduling.core.water.zone_inputs import ZoneInputs

# How far a default may be off: ranges of the emitter classes, every texture, and these; common practice.
ROOT_DEPTH_SPREAD, MAD_SPREAD = 0.4, 0.1


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
    """The inputs nobody measured or entered, the most telling first."""
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
    if settled.du_lq.origin == "default":
        trials["distribution uniformity"] = [replace(zone, du_lq=du) for du in emitter.du_range]
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
