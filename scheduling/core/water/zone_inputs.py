"""What is known of a zone, and the named defaults that stand in where nothing was measured or entered."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from scheduling.core.water import application, demand, soil
from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.derivation import CannotCompute, Derivation, Input, Known, known
from sites.core.sources import DEFINITION


@dataclass(frozen=True)
class ZoneInputs:
    """One zone as the register knows it; a plain number counts as entered, `Known` carries its own origin.

    `planting`, `soil_texture`, `exposure`, `emitter` are keys of `demand.PLANTINGS`, `soil.TEXTURES` (empty:
    unknown), `demand.EXPOSURE_FACTOR`, `application.EMITTERS`. `plant_factor` is a single factor of the
    zone's own and then replaces category, month and exposure. `planted_on` is the day a new planting went in.
    """

    planting: str
    emitter: str
    latitude: float
    area_m2: Known | float | None = None
    soil_texture: str = ""
    slope_percent: Known | float | None = None
    exposure: str = "sun"
    application_rate_mm_h: Known | float | None = None
    du_lq: Known | float | None = None
    flow_l_min: Known | float | None = None
    root_depth_m: Known | float | None = None
    mad: Known | float | None = None
    plant_factor: Known | float | None = None
    planted_on: dt.date | None = None
    humid_climate: bool = False


@dataclass(frozen=True)
class Rate:
    """The application rate a zone is computed with, and how it was found."""

    value_mm_h: float
    derivation: Derivation


@dataclass(frozen=True)
class ResolvedZone:
    """A zone with every input settled, each still carrying its origin."""

    zone: ZoneInputs
    rate: Rate
    du_lq: Known
    texture: soil.Texture
    texture_input: Input
    slope_percent: Known
    root_depth_m: Known
    mad: Known
    area_m2: Known | None
    flow_l_min: Known | None
    shortest_run_min: int

    @property
    def southern(self) -> bool:
        """South of the equator."""
        return self.zone.latitude < 0

    @property
    def multiplier(self) -> float:
        """Scheduling multiplier of the zone."""
        return float(application.scheduling_multiplier(self.du_lq.value))

    @property
    def accumulation_mm(self) -> float:
        """ASA of the zone's soil and slope."""
        return soil.allowable_accumulation(self.texture.key, self.slope_percent.value)

    @property
    def repair_first(self) -> bool:
        """True where the uniformity is too low to be cured by more water."""
        return self.du_lq.value < application.LOWEST_DU_TO_WATER_BY


LIMITS = {
    "area_m2": (0.01, 1e7),
    "slope_percent": (0.0, 100.0),
    "application_rate_mm_h": (0.1, 500.0),
    "du_lq": (0.01, 1.0),
    "flow_l_min": (0.01, 1e5),
    "root_depth_m": (0.01, 5.0),
    "mad": (0.05, 0.95),
    "plant_factor": (0.0, 2.0),
}


def resolve(zone: ZoneInputs) -> ResolvedZone | CannotCompute:
    """Settle every input of a zone: measured, entered or a named default; else say what is needed.

    Raises `WaterInputError` for an unknown key or a number outside its limits.
    """
    _refuse_unknown(zone)
    emitter = application.EMITTERS[zone.emitter]
    planting = demand.PLANTINGS[zone.planting]
    rate = _rate(zone, emitter)
    if isinstance(rate, CannotCompute):
        return rate
    texture = soil.texture_of(zone.soil_texture or soil.DEFAULT_TEXTURE)
    return ResolvedZone(
        zone=zone,
        rate=rate,
        du_lq=known(zone.du_lq)
        or Known(emitter.du_lq, "default", f"usual for {emitter.label.lower()}, common practice"),
        texture=texture,
        texture_input=Input(
            "soil texture",
            texture.label,
            "",
            "register" if zone.soil_texture else "default",
            "" if zone.soil_texture else "soil not entered: loam assumed, common practice",
        ),
        slope_percent=known(zone.slope_percent) or Known(0.0, "default", "slope not entered: level assumed"),
        root_depth_m=known(zone.root_depth_m) or _by_planting(planting.root_depth_m, planting),
        mad=known(zone.mad) or _by_planting(planting.mad, planting),
        area_m2=known(zone.area_m2),
        flow_l_min=known(zone.flow_l_min),
        shortest_run_min=emitter.shortest_run_min,
    )


def _by_planting(value: float, planting: demand.Planting) -> Known:
    return Known(value, "default", f"usual for {planting.label.lower()}, common practice")


def _refuse_unknown(zone: ZoneInputs) -> None:
    for field, key, table in (
        ("planting", zone.planting, demand.PLANTINGS),
        ("emitter", zone.emitter, application.EMITTERS),
        ("exposure", zone.exposure, demand.EXPOSURE_FACTOR),
    ):
        if key not in table:
            raise WaterInputError(field, f"unknown: {key!r}; known are {', '.join(table)}")
    if not -90 <= zone.latitude <= 90:
        raise WaterInputError("latitude", "must lie between -90 and 90")
    for field, (low, high) in LIMITS.items():
        found = known(getattr(zone, field))
        if found is not None and not low <= found.value <= high:
            raise WaterInputError(field, f"is {found.value:g}, must lie between {low:g} and {high:g}")


def _rate(zone: ZoneInputs, emitter: application.EmitterClass) -> Rate | CannotCompute:
    """Own rate first, then flow over area, then the usual rate of the emitter class; else refuse."""
    rate, flow, area = known(zone.application_rate_mm_h), known(zone.flow_l_min), known(zone.area_m2)
    if rate is not None:
        given = Input("application rate", rate.value, "mm/h", rate.origin, rate.note)
        return Rate(rate.value, Derivation(rate.value, "mm/h", "as given for the zone", (given,), ""))
    if flow is not None and area is not None:
        value = float(application.rate_from_flow(flow.value, area.value))
        inputs = (
            Input("flow Q", flow.value, "L/min", flow.origin, flow.note),
            Input("area A", area.value, "m2", area.origin, area.note),
        )
        return Rate(value, Derivation(value, "mm/h", "application rate = 60 Q / A", inputs, DEFINITION))
    if flow is None and area is None:
        return CannotCompute(("application rate", "area"), "neither rate nor area nor flow is known")
    if emitter.rate_mm_h is None:
        missing = "area" if area is None else "flow or application rate"
        return CannotCompute((missing,), f"{emitter.label.lower()} has no usual rate")
    note = f"usual for {emitter.label.lower()}, common practice"
    usual = Input("application rate", emitter.rate_mm_h, "mm/h", "default", note)
    formula = "usual rate of the emitter class"
    return Rate(emitter.rate_mm_h, Derivation(emitter.rate_mm_h, "mm/h", formula, (usual,), "common practice"))
