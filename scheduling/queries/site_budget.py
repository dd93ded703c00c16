"""The two published budgets and the bill of a site, from the register."""

from collections.abc import Sequence
from dataclasses import dataclass

from scheduling.core.water.application import EMITTERS
from scheduling.core.water.budget import (
    EFFICIENCY,
    ETAF,
    Block,
    Hydrozone,
    PeakZone,
    Tariff,
    bill,
    landscape_allowance_gal,
    landscape_requirement_gal,
    ordinance_budget,
)
from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.demand import PLANTINGS
from scheduling.core.water.volumes import M2_PER_FT2, MM_PER_IN, to_litres
from scheduling.queries.climate import station_climatology
from sites.core.sources import CCR_23, EPA_BUDGET
from sites.models import Site

DRIP = ("drip_grid", "point_drip", "bubbler")


@dataclass(frozen=True)
class SiteBudget:
    """Allowance of a year (California ordinance) and of the peak month (US EPA method), litres.

    `needs` says in words what is missing where the figures are None. Constants of the US EPA tool from memory; a
    local code may be stricter.
    """

    allowance_l: float | None = None
    estimated_use_l: float | None = None
    peak_allowance_l: float | None = None
    peak_requirement_l: float | None = None
    peak_month: int | None = None
    needs: str = ""
    allowance_by_month_l: tuple[float, ...] = ()
    source: str = ""


@dataclass(frozen=True)
class Cost:
    """Water by the site's tariff in the firm's currency, each calendar month a bill of its own.

    `volume_l` is the water it is for, `months` how many months are billed.
    """

    tariff: str
    fixed: float
    water: float
    volume_l: float
    months: int

    @property
    def total(self) -> float:
        return self.fixed + self.water


def site_budget(site: Site) -> SiteBudget:
    """Both budgets where every zone in use has an area and the station a climate, else what is needed."""
    zones = [zone for zone in site.zones.all() if zone.in_use]
    without = [str(zone.number) for zone in zones if not zone.area_m2]
    if not zones or without:
        return SiteBudget(needs=f"the area of zone {', '.join(without)}" if without else "a zone in use")
    if site.weather_station is None:
        return SiteBudget(needs="a weather station for the site")
    try:
        climate = station_climatology(site.weather_station)
    except WaterInputError as error:
        return SiteBudget(needs=f"a full year of daily weather ({error})")
    et_in, rain_in = climate.et_mm.mean / MM_PER_IN, climate.rain_mm.mean / MM_PER_IN
    peak = int(et_in.argmax())
    area = {zone.pk: zone.area_m2 / M2_PER_FT2 for zone in zones}
    factor = {zone.pk: PLANTINGS[zone.planting].factor for zone in zones}
    etaf = ETAF["residential" if site.residential else "non_residential"]
    whole_ft2 = sum(area.values())
    special_ft2 = min(site.special_landscape_m2 / M2_PER_FT2, whole_ft2)
    # The special area lies within the zones: their ordinary part shrinks in proportion.
    ordinary = 1.0 - special_ft2 / whole_ft2
    hydrozones = [
        Hydrozone(str(zone), area[zone.pk] * ordinary, factor[zone.pk], _efficiency(zone.emitter)) for zone in zones
    ]
    year = ordinance_budget(float(et_in.sum()), hydrozones, sla_ft2=special_ft2, etaf=etaf)
    allowance_l = to_litres(year.mawa_gal, "gal")
    peak_zones = [
        PeakZone(
            str(zone), area[zone.pk], factor[zone.pk], zone.distribution_uniformity or EMITTERS[zone.emitter].du_lq
        )
        for zone in zones
    ]
    peak_need = landscape_requirement_gal(float(et_in[peak]), float(rain_in[peak]), peak_zones)
    return SiteBudget(
        allowance_l=allowance_l,
        estimated_use_l=to_litres(year.etwu_gal, "gal"),
        peak_allowance_l=to_litres(landscape_allowance_gal(float(et_in[peak]), sum(area.values())), "gal"),
        peak_requirement_l=to_litres(peak_need, "gal"),
        peak_month=peak + 1,
        allowance_by_month_l=tuple((allowance_l * et_in / et_in.sum()).tolist()),
        source=(
            f"{CCR_23} with ETAF {etaf:g} "
            f"({'residential' if site.residential else 'not residential'}), special landscape area "
            f"{site.special_landscape_m2:g} m²; {EPA_BUDGET.unconfirmed}. A local code may be "
            "stricter. Normal year of the station."
        ),
    )


def _efficiency(emitter: str) -> float:
    return EFFICIENCY["drip" if emitter in DRIP else "overhead"]


def cost_of_months(site: Site, litres_by_month: Sequence[float]) -> Cost | None:
    """The bill of each month by the site's tariff; None without a tariff or without blocks."""
    if site.tariff is None:
        return None
    rows = list(site.tariff.blocks.all())
    if not rows:
        return None
    starts = [row.from_m3 for row in rows]
    ends: list[float | None] = [*starts[1:], None]
    blocks = [Block(end, float(row.price_per_m3)) for end, row in zip(ends, rows, strict=True)]
    if starts[0] > 0:
        blocks.insert(0, Block(starts[0], 0.0))
    tariff = Tariff(float(site.tariff.fixed_per_month), tuple(blocks))
    bills = [bill(tariff, litres / 1000.0) for litres in litres_by_month]
    return Cost(
        tariff=site.tariff.name,
        fixed=sum(one.fixed for one in bills),
        water=sum(line.cost for one in bills for line in one.lines),
        volume_l=sum(litres_by_month),
        months=len(bills),
    )
