"""Any computed figure of a schedule with its inputs, formula and source, rebuilt from the schedule's own basis."""

import datetime as dt
import math
from dataclasses import dataclass

from scheduling.core.water.derivation import Derivation
from scheduling.core.water.explain import explain_month, explain_week
from scheduling.core.water.season import ZoneSeason, zone_season
from scheduling.core.water.sharpen import Sharpening, YearMove, measurements_worth_taking, year_moves
from scheduling.core.water.week import Morning, ThisWeek
from scheduling.models import SeasonSchedule, ZoneMonth
from scheduling.queries.nights import days_before
from scheduling.queries.snapshot import thaw_advice, thaw_climate, thaw_zone
from scheduling.queries.two_answers import programs_of_zones
from sites.core.sources import Source, cited
from sites.models import Zone

TITLES = {
    "et_mm": "Reference ET",
    "plant_factor": "Plant factor K",
    "demand_mm": "Demand of the planting",
    "effective_rain_mm": "Effective rain",
    "net_need_mm": "Net need",
    "depth_mm": "Depth of a watering",
    "percent_of_peak": "Percent of the peak month",
    "application_rate_mm_h": "Application rate",
    "scheduling_multiplier": "Scheduling multiplier",
    "raw_mm": "Readily available water",
    "exact_run_time_min_per_week": "Run time a week",
    "exact_run_time_min": "Run time before rounding",
    "days_per_week": "Watering days a week",
    "run_time_min": "Run time on a watering day",
    "cycles": "Cycles",
    "litres": "Water",
}


@dataclass(frozen=True)
class Figure:
    """One figure of a zone with its title and derivation."""

    key: str
    title: str
    derivation: Derivation


@dataclass(frozen=True)
class Explained:
    """All figures of one zone: of a month, and of the coming week where the programs follow the weather."""

    zone: Zone
    month: int
    figures: tuple[Figure, ...]
    week: tuple[Figure, ...]
    ahead: ThisWeek | None = None
    days_before: int = 0  # from the start at the controller to the morning that `ahead` counts it for

    @property
    def starts(self) -> tuple[dt.date, ...]:
        """The days on which the zone's program starts at the controller for the week's waterings."""
        return tuple(date - dt.timedelta(days=self.days_before) for date in self.ahead.dates) if self.ahead else ()

    @property
    def nights(self) -> tuple[tuple[dt.date, Morning], ...]:
        """Each morning of the week with the day on which its watering would start."""
        before = dt.timedelta(days=self.days_before)
        return tuple((one.date - before, one) for one in self.ahead.mornings) if self.ahead else ()

    @property
    def defaults(self) -> tuple[str, ...]:
        """The inputs nobody measured or entered, each once."""
        items = [item for figure in self.figures for item in figure.derivation.defaults]
        return tuple(dict.fromkeys(item.name for item in items))

    @property
    def publications(self) -> tuple[Source, ...]:
        """Every publication that a figure or an input names, each once, to be cited in full."""
        derivations = [figure.derivation for figure in (*self.figures, *self.week)]
        told = [words for one in derivations for words in (one.source, *(item.note for item in one.inputs))]
        return tuple(dict.fromkeys(source for words in told for source in cited(words)))


def season_of(schedule: SeasonSchedule, zone_id: int) -> ZoneSeason | None:
    """The zone's season as it was computed for this schedule; None where it could not be computed."""
    frozen = schedule.basis.get("zones", {}).get(str(zone_id))
    if frozen is None:
        return None
    climate = thaw_climate(schedule.basis["climate"])
    permitted = schedule.basis["permitted_days_per_week"]
    window = schedule.basis.get("window_min", math.inf)
    season = zone_season(thaw_zone(frozen), climate, schedule.season_year, permitted, window_min=window)
    return season if isinstance(season, ZoneSeason) else None


def explain(schedule: SeasonSchedule, zone: Zone, month: int) -> Explained | None:
    """Why the zone's figures of this month are what they are; None where nothing was computed."""
    season = season_of(schedule, zone.pk)
    if season is None:
        return None
    frozen = schedule.basis.get("advice", {}).get(str(zone.pk)) if month == schedule.month else None
    ahead = thaw_advice(frozen) if frozen else None
    figures = _figures(explain_month(season, month))
    if ahead is None:
        return Explained(zone, month, figures, ())
    before = days_before(programs_of_zones(schedule)[zone.pk], schedule.site, ahead)
    return Explained(zone, month, figures, _figures(explain_week(season, ahead)), ahead, before)


def earlier_rules(schedule: SeasonSchedule, explained: Explained) -> tuple[float, float] | None:
    """(plant factor the schedule was computed with, today's) where a table has been corrected since; else None."""
    kept = ZoneMonth.objects.filter(schedule=schedule, zone=explained.zone, month=explained.month).first()
    now = next(figure.derivation.value for figure in explained.figures if figure.key == "plant_factor")
    if kept is None or now is None or abs(kept.plant_factor - now) < 0.0005:
        return None
    return kept.plant_factor, now


def _figures(derivations: dict[str, Derivation]) -> tuple[Figure, ...]:
    return tuple(Figure(key, TITLES[key], derivation) for key, derivation in derivations.items())


def worth_measuring(schedule: SeasonSchedule, zone: Zone) -> tuple[Sharpening, ...]:
    """Which measurement would sharpen the zone's schedule most, from the inputs of the schedule's own day."""
    frozen = schedule.basis.get("zones", {}).get(str(zone.pk))
    if frozen is None:
        return ()
    climate = thaw_climate(schedule.basis["climate"])
    found = measurements_worth_taking(thaw_zone(frozen), climate, schedule.season_year)
    return found if isinstance(found, tuple) else ()


def what_hangs_on_assumptions(schedule: SeasonSchedule, zone: Zone) -> tuple[YearMove, ...]:
    """How far the year's water moves for each figure that was assumed on the schedule's own day."""
    frozen = schedule.basis.get("zones", {}).get(str(zone.pk))
    if frozen is None:
        return ()
    return year_moves(thaw_zone(frozen), thaw_climate(schedule.basis["climate"]), schedule.season_year)
