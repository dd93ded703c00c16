"""A zone's computed month as the columns of the months table."""

import calendar
import math
from typing import Any

from scheduling.core.water.clock import PARITY_DAYS_PER_WEEK
from scheduling.core.water.season import ZoneMonth as MonthOfZone
from scheduling.core.water.season import litres_for, split_run
from scheduling.queries.plan import ZonePlan
from sites.models import Site


def zone_month_values(item: ZonePlan, month: MonthOfZone, site: Site) -> dict[str, Any]:
    """Field values of `ZoneMonth`. Odd or even dates come 3.5 times a week, so the day's run is shorter there."""
    days: float
    days, run_time, cycles, soak = month.days_per_week, month.run_time_min, month.cycles, month.soak_min
    parity = site.permitted_days in (Site.PermittedDays.ODD, Site.PermittedDays.EVEN)
    if parity and run_time and days >= 1:
        days = PARITY_DAYS_PER_WEEK
        split = split_run(item.season.zone, month.exact_run_time_min_per_week / days)
        run_time, cycles, soak = round(split.run_time_min), split.cycles, math.ceil(split.soak_min - 1e-9)
    per_week = run_time * days
    in_month = calendar.monthrange(item.season.year, month.month)[1]
    return {
        "month": month.month,
        "reference_et_mm": month.et_mm,
        "plant_factor": month.plant_factor,
        "effective_rain_mm": month.effective_rain_mm,
        "net_need_mm": month.net_need_mm,
        "run_time_min_per_week": per_week,
        "days_per_week": days,
        "run_time_min": run_time,
        "cycles": max(1, cycles),
        "soak_min": soak,
        "percent_of_peak": month.percent_of_peak,
        "water_l": litres_for(item.season.zone, per_week * in_month / 7.0),
        "derivation": {
            "exact_run_time_min_per_week": month.exact_run_time_min_per_week,
            "zero_because": month.zero_because,
            "flow_l_min": litres_for(item.season.zone, 1.0),
        },
    }
