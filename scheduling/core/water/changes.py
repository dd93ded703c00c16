"""One thing changed about a site's zones, for a season lived through once more."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from scheduling.core.water import application, demand
from scheduling.core.water.derivation import CannotCompute, Known
from scheduling.core.water.zone_inputs import ZoneInputs, resolve
from sites.core.sources import COMMON_PRACTICE, FAO56_MULCH

SPRAYS = ("fixed_spray", "rotating_nozzle", "rotor", "micro_spray")
# Mulch acts on soil evaporation alone: 5 % less for each 10 % of ground covered, half at full cover (FAO-56 chapter
# 11, dead vegetation). What evaporates from the soil is taken as a fifth of the demand: common practice, 0.15 to
# 0.40, for which full cover spares 7.5 to 20 %.
MULCH_SPARES = 0.5
SOIL_EVAPORATION_SHARE = 0.20
MULCH_FACTOR = 1.0 - MULCH_SPARES * SOIL_EVAPORATION_SHARE
BETTER_DU = 0.70  # reached by levelled heads, matched nozzles and the right pressure: common practice

EVEN_SAYS = f"Heads and nozzles repaired: uniformity of {BETTER_DU:.2f} where it is lower ({COMMON_PRACTICE})."
MULCH_SAYS = (
    "Organic mulch over all the soil in beds and under shrubs and trees: half as much evaporates from the soil "
    f"({FAO56_MULCH}), a tenth of the demand where that is a fifth of it ({COMMON_PRACTICE}, 7 to 20 %)."
)


@dataclass(frozen=True)
class Change:
    """One change: `apply` gives the zone as it would be, the zone itself where it does not apply."""

    key: str
    label: str
    says: str
    apply: Callable[[ZoneInputs], ZoneInputs]


def _same(zone: ZoneInputs) -> ZoneInputs:
    return zone


def drip(zone: ZoneInputs) -> ZoneInputs:
    """In-line drip in beds and under shrubs and trees that are sprayed now; turf stays as it is.

    Rate and uniformity become the usual ones of the class; the flow follows the rate over the same ground.
    """
    if zone.emitter not in SPRAYS or demand.PLANTINGS[zone.planting].kind == "turf":
        return zone
    now = resolve(zone)
    grid = application.EMITTERS["drip_grid"]
    if isinstance(now, CannotCompute) or grid.rate_mm_h is None:
        return zone
    flow = now.flow_l_min
    usual = "usual for in-line drip, common practice"
    return replace(
        zone,
        emitter="drip_grid",
        application_rate_mm_h=Known(grid.rate_mm_h, "default", usual),
        du_lq=Known(grid.du_lq, "default", usual),
        flow_l_min=flow and Known(flow.value * grid.rate_mm_h / now.rate.value_mm_h, "default", usual),
    )


def even(zone: ZoneInputs) -> ZoneInputs:
    """Sprayed zones brought up to a uniformity of 0.70; better ones stay."""
    if zone.emitter not in SPRAYS:
        return zone
    now = zone.du_lq.value if isinstance(zone.du_lq, Known) else zone.du_lq
    if now is None:
        now = application.EMITTERS[zone.emitter].du_lq
    return zone if now >= BETTER_DU else replace(zone, du_lq=Known(BETTER_DU, "default", "after repair"))


def mulch(zone: ZoneInputs) -> ZoneInputs:
    """Organic mulch over all the soil of beds and under woody plants: half of its evaporation."""
    if demand.PLANTINGS[zone.planting].kind == "turf":
        return zone
    if zone.plant_factor is not None:
        own = zone.plant_factor.value if isinstance(zone.plant_factor, Known) else zone.plant_factor
    else:
        planting = demand.PLANTINGS[zone.planting]
        own = planting.humid_factor if zone.humid_climate else planting.factor
        own *= demand.EXPOSURE_FACTOR[zone.exposure]
    return replace(zone, plant_factor=Known(own * MULCH_FACTOR, "default", "mulched"))


CHANGES = {
    change.key: change
    for change in (
        Change("drip", "Drip instead of sprays", "Sprayed beds, shrubs and trees get in-line drip.", drip),
        Change("even", "More even sprays", EVEN_SAYS, even),
        Change("two_days", "Two watering days a week", "Watering only on Monday and Thursday.", _same),
        Change("mulch", "Mulch", MULCH_SAYS, mulch),
        Change("hot_year", "The driest year of the record", "The same zones in the year of most net ET.", _same),
    )
}
TWO_DAYS = frozenset({0, 3})
