"""One seasonal percentage a month for a controller that has only one, and what it costs each zone."""

from collections import defaultdict
from dataclasses import dataclass

from scheduling.core.water.seasonal_percentage import SENSITIVITY, ControllerMonth, seasonal_percentage
from scheduling.models import SeasonSchedule, ZoneMonth
from sites.models import Controller, Zone

USUAL_AREA_M2 = 100.0  # weight of a zone whose area nobody entered: common practice, no source


@dataclass(frozen=True)
class ZoneShare:
    """One zone: its own percent and what the one setting gives it too much (+) or too little (-), by month.

    `over_l` is None where the zone's litres are not known; `year_l` sums the months.
    """

    zone: Zone
    own: tuple[float, ...]
    over_l: tuple[float | None, ...]

    @property
    def cells(self) -> list[tuple[float, float | None]]:
        return list(zip(self.own, self.over_l, strict=True))

    @property
    def year_over_l(self) -> float | None:
        """Water too much in the year; too little is not taken off."""
        return None if None in self.over_l else sum(max(litres or 0.0, 0.0) for litres in self.over_l)

    @property
    def year_short_l(self) -> float | None:
        return None if None in self.over_l else sum(max(-(litres or 0.0), 0.0) for litres in self.over_l)


@dataclass(frozen=True)
class ControllerPercentages:
    """A controller's twelve settings, the peak month being 100 % of the programmed minutes of each zone."""

    controller: Controller
    months: tuple[ControllerMonth, ...]
    zones: tuple[ZoneShare, ...]


def seasonal_percentages(schedule: SeasonSchedule) -> tuple[ControllerPercentages, ...]:
    """For every controller of the schedule with one seasonal percentage for all zones, the least harmful percents."""
    rows: dict[Zone, list[ZoneMonth]] = defaultdict(list)
    months = ZoneMonth.objects.filter(schedule=schedule, zone__valve__controller__has_seasonal_percentage=True)
    for row in months.select_related("zone__valve__controller").defer("derivation").order_by("zone__number", "month"):
        rows[row.zone].append(row)
    wired: dict[Controller, list[Zone]] = defaultdict(list)
    for zone, of_zone in rows.items():
        if len(of_zone) == 12 and max(row.percent_of_peak for row in of_zone) > 0:
            assert zone.valve is not None  # the rows are those of wired zones
            wired[zone.valve.controller].append(zone)
    return tuple(
        _percents(controller, {zone: rows[zone] for zone in zones})
        for controller, zones in sorted(wired.items(), key=lambda pair: pair[0].pk)
    )


def _percents(controller: Controller, rows: dict[Zone, list[ZoneMonth]]) -> ControllerPercentages:
    peak_l = [max(of_zone, key=lambda row: row.percent_of_peak).water_l for of_zone in rows.values()]
    months = seasonal_percentage(
        [[row.percent_of_peak for row in of_zone] for of_zone in rows.values()],
        [zone.area_m2 or USUAL_AREA_M2 for zone in rows],
        [SENSITIVITY[zone.planting] for zone in rows],
        [litres or 0.0 for litres in peak_l],
    )
    zones = tuple(
        ZoneShare(
            zone,
            tuple(month.zones[place].own_percent for month in months),
            tuple(None if peak_l[place] is None else month.zones[place].over_litres for month in months),
        )
        for place, zone in enumerate(rows)
    )
    return ControllerPercentages(controller, months, zones)
