"""Two stations: the measured Seattle series 2012-2015, and the same days replayed on the calendar around today."""

import csv
import datetime as dt
import importlib.util
import io
from pathlib import Path

from config.demo.dice import dice

# The package's file is read without importing the package, which would bring pandas along for a second.
PACKAGE = importlib.util.find_spec("vega_datasets")
SERIES = Path(str(PACKAGE and PACKAGE.origin)).parent / "_data" / "seattle-weather.csv"
FIRST_YEAR, YEARS = 2012, 4
RECORD_YEARS = 26  # of minimum temperatures; the years before the replay are invented
YEARS_DIFFER_K = 1.0  # how far a whole invented year lies from the measured one it repeats,
YEARS_SHIFT_DAYS = 15  # and by how many days at most
LAST_DAY = dt.date(2015, 12, 31)
PLACE = {"latitude": 47.444, "longitude": -122.314, "elevation_m": 130.0, "wind_height_m": 10.0, "coastal": False}


def measured_text() -> str:
    """The series as the package carries it: date, precipitation mm, temp_max and temp_min degC, wind m/s."""
    return SERIES.read_text(encoding="utf-8")


def replayed_text(text: str, today: dt.date) -> str:
    """The same days on the calendar of the four years up to yesterday, each measured day used once at most.

    The year of `today` shows 2015, the year before 2014, and so on round. A 29 February that the source year
    does not have shows its 28th.
    """
    header, by_day = _read(text)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    day = _same_day(today, today.year - YEARS)
    while day < today:
        writer.writerow([day.strftime("%Y/%m/%d"), *by_day[_source_day(day, today)]])
        day += dt.timedelta(days=1)
    return out.getvalue()


def coming_days(today: dt.date, days: int) -> list[tuple[dt.date, float, float, float]]:
    """How the replay goes on from `today`: date, rain mm, maximum and minimum degC."""
    _, by_day = _read(measured_text())
    dates = [today + dt.timedelta(days=n) for n in range(days)]
    rows = []
    for date in dates:
        rain_mm, warmest_c, coldest_c = map(float, by_day[_source_day(date, today)][:3])
        rows.append((date, rain_mm, warmest_c, coldest_c))
    return rows


def _read(text: str) -> tuple[list[str], dict[dt.date, list[str]]]:
    rows = list(csv.reader(io.StringIO(text)))
    return rows[0], {dt.date.fromisoformat(row[0].replace("/", "-")): row[1:] for row in rows[1:]}


def _source_day(day: dt.date, today: dt.date) -> dt.date:
    return _same_day(day, FIRST_YEAR + (day.year - today.year - 1) % YEARS)


def minima_c() -> dict[dt.date, float]:
    """Daily minimum temperatures of the measured series."""
    rows = csv.DictReader(io.StringIO(measured_text()))
    return {dt.date.fromisoformat(row["date"].replace("/", "-")): float(row["temp_min"]) for row in rows}


def earlier_minima(seed: int, today: dt.date) -> dict[dt.date, float]:
    """Invented minimum temperatures of the years before the replay, so that a freeze record is long enough.

    The measured days go round again, each year as a whole a little warmer or colder, and some days early or late.
    """
    _, by_day = _read(measured_text())
    end = _same_day(today, today.year - YEARS)
    minima, day = {}, _same_day(today, today.year - RECORD_YEARS)
    while day < end:
        rng = dice(seed, "cold year", day.year - today.year)
        shift_k, shift = (
            rng.gauss(0, YEARS_DIFFER_K),
            dt.timedelta(days=rng.randint(-YEARS_SHIFT_DAYS, YEARS_SHIFT_DAYS)),
        )
        last = min(end, dt.date(day.year + 1, 1, 1))
        while day < last:
            minima[day] = round(float(by_day[_source_day(day + shift, today)][2]) + shift_k, 1)
            day += dt.timedelta(days=1)
    return minima


def _same_day(day: dt.date, year: int) -> dt.date:
    if day.month == 2 and day.day == 29 and not (year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)):
        return dt.date(year, 2, 28)
    return day.replace(year=year)
