"""A season's weather at a site's station, by month and by week, beside its normal."""

import calendar
import datetime as dt

from reports.documents import season_report as report
from reports.documents.kit.charts import Amount, CurvePoint
from reports.queries.telling import Telling
from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.climate import Climatology
from scheduling.models import DailyWeather
from scheduling.queries.climate import station_climatology
from sites.core.units import unit_label
from sites.models import Site

# A month is told as weather only when nearly all its days are known; a week likewise.
MOST_MISSING_DAYS = 3
MOST_MISSING_DAYS_OF_WEEK = 1
# A curve over fewer weeks says nothing that the table does not.
FEWEST_WEEKS = 6


class SeasonWeather:
    """Daily reference ET and rain of one station and calendar year, as far as it has gone."""

    def __init__(self, site: Site, year: int, until: dt.date, telling: Telling) -> None:
        self.site, self.year, self.until, self.telling = site, year, until, telling
        self.days: dict[dt.date, tuple[float | None, float | None]] = {}
        if site.weather_station_id:
            span = (dt.date(year, 1, 1), until)
            rows = DailyWeather.objects.filter(station=site.weather_station_id, date__range=span)
            self.days = {
                date: (et, rain) for date, et, rain in rows.values_list("date", "eto_mm", "precipitation_mm")
            }
        self.normals = self._normals()

    def _normals(self) -> Climatology | None:
        try:
            return station_climatology(self.site.weather_station) if self.site.weather_station else None
        except WaterInputError:
            return None

    def months(self) -> tuple[report.WeatherMonth, ...]:
        """The months of the season with known weather; empty without a station."""
        if self.site.weather_station is None:
            return ()
        return tuple(
            report.WeatherMonth(
                month=self.telling.words.month(month),
                et=self._month(0, month),
                rain=self._month(1, month),
                et_normal=self.telling.depth(self._normal("et_mm", month)),
                rain_normal=self.telling.depth(self._normal("rain_mm", month)),
            )
            for month in range(1, self.until.month + 1)
        )

    def estimated(self) -> str:
        """Which months are partly estimated, and how far the last one goes; "" where all are whole."""
        words, named = self.telling.words, []
        for month in range(1, self.until.month + 1):
            known, days = min(len(self._known(column, month)) for column in (0, 1)), self._days_so_far(month)
            if self._told(known, days) and known < days:
                named.append(words.say("weather.days_known", month=words.month(month), days=f"{known}/{days}"))
        told = [words.say("weather.estimated", months="; ".join(named))] if named else []
        last = self.until.replace(day=self._days_so_far(self.until.month))
        if last != self.until:
            told.append(words.say("weather.so_far", month=words.month(last.month), date=self.telling.date(last)))
        return " ".join(told)

    def _known(self, column: int, month: int) -> list[float]:
        values = (day[column] for date, day in self.days.items() if date.month == month)
        return [value for value in values if value is not None]

    def _days_so_far(self, month: int) -> int:
        """Days of the month; in the month that is not over, up to the last one on record."""
        if month == self.until.month:
            return max((date.day for date in self.days if date.month == month), default=self.until.day)
        return calendar.monthrange(self.year, month)[1]

    @staticmethod
    def _told(known: int, days: int) -> bool:
        return known > 0 and known >= days - MOST_MISSING_DAYS

    def _month(self, column: int, month: int) -> Amount | None:
        """Total of a month up to `until`; a few missing days are made up for, and then it is marked."""
        values, days = self._known(column, month), self._days_so_far(month)
        if not self._told(len(values), days):
            return None
        shown = self.telling.depth(sum(values) * days / len(values))
        if shown is None or len(values) == days:
            return shown
        return Amount(shown.value, f"≈ {shown.text}")

    def _normal(self, name: str, month: int) -> float | None:
        return float(getattr(self.normals, name).mean[month - 1]) if self.normals else None

    def curve(self) -> report.WeatherCurve | None:
        """Week by week from 1 January to the last known week; None where a week between is not known."""
        weeks = [self._week(start) for start in self._week_starts()]
        while weeks and weeks[-1] is None:
            weeks.pop()
        known = [week for week in weeks if week is not None]
        if len(known) < max(FEWEST_WEEKS, len(weeks)):
            return None
        words, system = self.telling.words, self.telling.firm.units
        scale = self.telling.depth(25.4 if system == "us" else 25.0)
        assert scale is not None
        text = words.say("weather.a_week", depth=f"{scale.text} {unit_label('depth', system)}")
        return report.WeatherCurve(tuple(known), Amount(scale.value, text))

    def _week_starts(self) -> list[dt.date]:
        first = dt.date(self.year, 1, 1)
        return [
            first + dt.timedelta(days=7 * week) for week in range(52) if first + dt.timedelta(7 * week) <= self.until
        ]

    def _week(self, start: dt.date) -> CurvePoint | None:
        days = [self.days.get(start + dt.timedelta(days=day), (None, None)) for day in range(7)]
        et = [value for value, _ in days if value is not None]
        rain = [value for _, value in days if value is not None]
        if min(len(et), len(rain)) < 7 - MOST_MISSING_DAYS_OF_WEEK:
            return None
        middle = start + dt.timedelta(days=3)
        normal = self._normal("et_mm", middle.month)
        in_month = calendar.monthrange(middle.year, middle.month)[1]
        usual = self.telling.depth(normal and normal * 7 / in_month)
        fallen, used = (self.telling.depth(sum(values) * 7 / len(values)) for values in (rain, et))
        assert fallen and used
        # The label stands at the first week that lies in a new month.
        label = self.telling.words.month(middle.month) if middle.day <= 7 else ""
        return CurvePoint(label, used.value, usual.value if usual else None, fallen.value)
