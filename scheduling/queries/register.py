"""The register's zones as inputs of the water core, each figure with where it came from."""

from scheduling.core.water.derivation import Known
from scheduling.core.water.zone_inputs import ZoneInputs
from sites.core import writing
from sites.models import Site, Zone

DAY_MIN = 24 * 60
ODD_EVEN_DAYS_PER_WEEK = 3  # every second date is 3 or 4 days of a week; the lower one always holds


def zone_inputs(zone: Zone, site: Site) -> ZoneInputs:
    """What the register knows of a zone. "Unknown" figures are left out, so that named defaults stand in."""
    origin, flow_origin = zone.figures_origin, zone.flow_origin or zone.figures_origin
    return ZoneInputs(
        planting=zone.planting,
        emitter=zone.emitter,
        latitude=site.latitude,
        area_m2=zone.area_m2,
        soil_texture=zone.soil,
        # The register starts at 0 %, so a 0 says nothing about whether somebody looked.
        slope_percent=zone.slope_percent or None,
        exposure=zone.exposure,
        application_rate_mm_h=_figure(zone, zone.application_rate_mm_h, origin),
        du_lq=_figure(zone, zone.distribution_uniformity, origin),
        flow_l_min=_figure(zone, zone.flow_l_min, flow_origin),
        root_depth_m=zone.root_depth_m,
        planted_on=zone.planted_on,
    )


def _figure(zone: Zone, value: float | None, origin: str) -> Known | None:
    if value is None or origin == Zone.Origin.UNKNOWN:
        return None
    if origin == Zone.Origin.MEASURED:
        when = f"measured on {writing.day(zone.measured_on)}" if zone.measured_on else "measured, day not noted"
        return Known(value, "measured", when)
    return Known(value, "register", "from the design or the device's data")


def permitted_days_per_week(site: Site) -> int:
    if site.permitted_days == Site.PermittedDays.WEEKDAYS:
        return len(site.permitted_weekdays)
    if site.permitted_days == Site.PermittedDays.ANY:
        return 7
    return ODD_EVEN_DAYS_PER_WEEK


def window_min(site: Site) -> int:
    """How many minutes a night the site may water; equal ends mean the whole day."""
    start, end = site.watering_window_start, site.watering_window_end
    return (60 * (end.hour - start.hour) + end.minute - start.minute) % DAY_MIN or DAY_MIN
