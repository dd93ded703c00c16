"""Freeze records of the stations that sites belong to, and what they say at each site."""

import datetime as dt
import textwrap
from collections import defaultdict
from collections.abc import Iterable
from functools import cached_property

from jobs.core.routing.frost import HARD_FREEZE_C, FreezeLadder, FreezeRecord, FrostLimit, Side
from jobs.core.site_dates import ORDINARY, Place
from jobs.models import VisitKind, VisitTerms
from scheduling.models import DailyWeather
from sites.core.told import figure
from sites.models import Site, WeatherStation

NAME_CHARS = 60  # leaves room in the reason for its figures
# Which side of the winter bounds which visit.
SIDE_OF: dict[str, Side] = {VisitKind.STARTUP: "spring", VisitKind.WINTERISATION: "autumn"}
NO_STATION = FrostLimit(None, "no weather station at this site", sufficient=False)


class SiteFrost:
    """The freeze history of these sites: stations, days and terms are read once, however many sites there are.

    The days are read only when a date is asked for.
    """

    def __init__(self, sites: Iterable[Site]) -> None:
        self.sites = list(sites)
        self._ladders: dict[tuple[int, Side], FreezeLadder] = {}

    @cached_property
    def places(self) -> dict[int, Place]:
        """By site id; a site without terms is ordinary."""
        terms = VisitTerms.objects.filter(site__in=[site.pk for site in self.sites])
        rows = terms.values_list("site_id", "frost_days", "frost_note")
        return {site_id: Place(days, note) for site_id, days, note in rows}

    @cached_property
    def stations(self) -> dict[int, WeatherStation]:
        ids = {site.weather_station_id for site in self.sites if site.weather_station_id}
        return {station.pk: station for station in WeatherStation.objects.filter(pk__in=ids).order_by("name", "pk")}

    @cached_property
    def _minima(self) -> dict[int, dict[dt.date, float]]:
        minima: dict[int, dict[dt.date, float]] = defaultdict(dict)
        days = DailyWeather.objects.filter(station__in=self.stations, temp_min_c__isnull=False).order_by()
        for station_id, date, minimum_c in days.values_list("station_id", "date", "temp_min_c").iterator():
            if minimum_c is not None:
                minima[station_id][date] = minimum_c
        return minima

    @cached_property
    def cold(self) -> str:
        return figure(HARD_FREEZE_C, "temperature")

    @cached_property
    def _short_names(self) -> dict[int, str]:
        return {pk: textwrap.shorten(row.name, NAME_CHARS, placeholder="…") for pk, row in self.stations.items()}

    def place(self, site: Site) -> Place:
        return self.places.get(site.pk, ORDINARY)

    def ladder(self, station: WeatherStation, side: Side) -> FreezeLadder:
        if (station.pk, side) not in self._ladders:
            record = FreezeRecord.of(self._minima.get(station.pk, {}), side, station.latitude)
            self._ladders[station.pk, side] = FreezeLadder(record, HARD_FREEZE_C)
        return self._ladders[station.pk, side]

    def station(self, site: Site) -> WeatherStation | None:
        return self.stations.get(site.weather_station_id or 0)

    def rise_m(self, site: Site) -> float:
        """How far the site lies above its station, which it must have."""
        return site.elevation_m - self.stations[site.weather_station_id or 0].elevation_m

    def limit(self, site: Site, side: Side, season_year: int, chance: float) -> FrostLimit:
        """The site's date by its height alone, without its frost days."""
        station = self.station(site)
        if station is None:
            return NO_STATION
        return self.limit_at(station, self.rise_m(site), side, season_year, chance)

    def limit_at(
        self, station: WeatherStation, rise_m: float, side: Side, season_year: int, chance: float
    ) -> FrostLimit:
        where = self._where(station, rise_m)
        return self.ladder(station, side).limit(rise_m, season_year, chance, where, self.cold)

    def chance_by(self, site: Site, on: dt.date, season_year: int) -> tuple[float, bool] | None:
        """The chance of a hard freeze at this site before that autumn day, and whether the record is long enough.

        None without a record. Frost that comes so many days earlier has had so many days more.
        """
        station = self.station(site)
        if station is None:
            return None
        ladder = self.ladder(station, "autumn")
        if not ladder.at_station.seasons:
            return None
        day = on + dt.timedelta(days=self.place(site).frost_days)
        return ladder.risk(self.rise_m(site)).chance(day, season_year), ladder.at_station.sufficient

    def _where(self, station: WeatherStation, rise_m: float) -> str:
        """The station, and how far above it the site lies."""
        name = self._short_names[station.pk]
        if round(rise_m) == 0:
            return name
        side = "higher" if rise_m > 0 else "lower"
        return f"{name}, site {figure(abs(round(rise_m)), 'length', 0)} {side} than the station"
