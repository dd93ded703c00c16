"""Weather station files as text in, days and clear complaints by row out.

Our own CSV carries its units in the header: `date` and any of precipitation, temp_max, temp_min, wind, rh_max,
rh_min, rh_mean, radiation, sunshine, dew_point with a unit suffix (`COLUMN_UNITS`), for example
`date,precipitation_mm,temp_max_c,temp_min_c,wind_m_s,rh_max_pct,rh_min_pct,radiation_mj_m2`. A file without
units in its header is read with a declared mapping of its columns. Nothing is guessed: the caller decides
about good rows.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

# Our field -> unit suffix -> (factor, offset): SI value = value x factor + offset.
_TEMPERATURE = {"c": (1.0, 0.0), "f": (1.0 / 1.8, -32.0 / 1.8), "k": (1.0, -273.15)}
_HUMIDITY = {"pct": (1.0, 0.0)}
COLUMN_UNITS: dict[str, dict[str, tuple[float, float]]] = {
    "precipitation": {"mm": (1.0, 0.0), "in": (25.4, 0.0), "cm": (10.0, 0.0)},
    "temp_max": _TEMPERATURE,
    "temp_min": _TEMPERATURE,
    "dew_point": _TEMPERATURE,
    "wind": {
        "m_s": (1.0, 0.0),
        "mph": (0.44704, 0.0),
        "km_h": (1.0 / 3.6, 0.0),
        "kn": (0.514444, 0.0),
        "km_day": (1.0 / 86.4, 0.0),
    },
    "rh_max": _HUMIDITY,
    "rh_min": _HUMIDITY,
    "rh_mean": _HUMIDITY,
    "radiation": {"mj_m2": (1.0, 0.0), "w_m2": (0.0864, 0.0), "langley": (0.041868, 0.0), "kwh_m2": (3.6, 0.0)},
    "sunshine": {"h": (1.0, 0.0), "min": (1.0 / 60.0, 0.0)},
}

# SI limits beyond which a value is a fault or in the wrong unit: common practice, no source.
PLAUSIBLE: dict[str, tuple[float, float, str]] = {
    "precipitation": (0.0, 800.0, "mm"),
    "temp_max": (-60.0, 57.0, "°C"),
    "temp_min": (-70.0, 45.0, "°C"),
    "dew_point": (-80.0, 36.0, "°C"),
    "wind": (0.0, 50.0, "m/s"),
    "rh_max": (0.0, 102.0, "%"),
    "rh_min": (0.0, 102.0, "%"),
    "rh_mean": (0.0, 102.0, "%"),
    "radiation": (0.0, 45.0, "MJ/m2"),
    "sunshine": (0.0, 24.0, "h"),
}
SAID = {
    "c": "°C",
    "f": "°F",
    "m_s": "m/s",
    "km_h": "km/h",
    "pct": "%",
}  # as people write a unit
MISSING_WORDS = {"", "na", "n/a", "null", "none", "m", "-", "-9999", "9999"}


@dataclass(frozen=True)
class StationDay:
    """One day of a station in SI units; None where the file holds nothing. `row` is the line in the file."""

    row: int
    date: dt.date
    values: Mapping[str, float | None]

    def __getitem__(self, field: str) -> float | None:
        return self.values.get(field)


@dataclass(frozen=True)
class RowProblem:
    """What is wrong with a row, in words; row 1 is the header, row 0 the file as a whole."""

    row: int
    column: str
    words: str


@dataclass(frozen=True)
class Gap:
    """Days the file leaves out, first and last missing day."""

    first: dt.date
    last: dt.date

    @property
    def days(self) -> int:
        """Number of missing days."""
        return (self.last - self.first).days + 1


@dataclass(frozen=True)
class StationFile:
    """A file read: good rows by date, problems by row, gaps between good rows, fields the file carries."""

    good_rows: tuple[StationDay, ...]
    problems: tuple[RowProblem, ...]
    gaps: tuple[Gap, ...]
    fields: tuple[str, ...]

    @property
    def clean(self) -> bool:
        """Nothing to complain about (gaps are reported apart)."""
        return not self.problems


@dataclass(frozen=True)
class Column:
    """A declared column: its name in the file, our field and the unit of its figures."""

    name: str
    field: str
    unit: str

    def __post_init__(self) -> None:
        if self.field not in COLUMN_UNITS or self.unit not in COLUMN_UNITS[self.field]:
            raise ValueError(f"column {self.name!r}: no field {self.field!r} with unit {self.unit!r}")


def columns_from_header(header: list[str]) -> tuple[list[Column], list[RowProblem]]:
    """Columns of our own CSV from its header; unknown names and units are problems of row 1."""
    columns: list[Column] = []
    problems: list[RowProblem] = []
    known = {f"{field}_{unit}": (field, unit) for field, units in COLUMN_UNITS.items() for unit in units}
    for name in header:
        key = name.strip().lower()
        if key == "date":
            continue
        if key in known:
            columns.append(Column(name, *known[key]))
        else:
            problems.append(RowProblem(1, name, _unknown_column(key)))
    doubled = [field for field in COLUMN_UNITS if sum(column.field == field for column in columns) > 1]
    problems += [RowProblem(1, field, f"two columns hold {field}") for field in doubled]
    return columns, problems


def _unknown_column(key: str) -> str:
    field = next((field for field in COLUMN_UNITS if key == field or key.startswith(field + "_")), None)
    if field is None:
        return f"unknown column {key!r}"
    names = ", ".join(f"{field}_{unit}" for unit in COLUMN_UNITS[field])
    return f"column {key!r} has no unit we know; use one of {names}"


def read_station_csv(text: str) -> StationFile:
    """Our own CSV format, units in the header."""
    header = _header(text)
    columns, problems = columns_from_header(header)
    return _read(text, header, columns, problems, ("date",))


def read_declared_csv(
    text: str, columns: Iterable[Column], date_column: str = "date", ignored: Iterable[str] = ()
) -> StationFile:
    """A CSV without units in its header: the caller declares column, field and unit.

    Columns neither declared nor named in `ignored` are problems of row 1, so that nothing is dropped unseen.
    """
    declared = list(columns)
    header = _header(text)
    accounted = {column.name for column in declared} | {date_column} | set(ignored)
    problems = [RowProblem(1, name, f"unknown column {name!r}") for name in header if name not in accounted]
    problems += [
        RowProblem(1, column.name, f"column {column.name!r} is missing")
        for column in declared
        if column.name not in header
    ]
    present = [column for column in declared if column.name in header]
    return _read(text, header, present, problems, (date_column,))


def _header(text: str) -> list[str]:
    _, first = next(csv_rows(text, []), (1, []))
    return [name.strip() for name in first]


def csv_rows(text: str, problems: list[RowProblem]) -> Iterator[tuple[int, list[str]]]:
    """Row number and cells of each row; text that is no CSV ends as a problem, not as a crash."""
    reader = csv.reader(io.StringIO(text.lstrip("\ufeff")))
    try:
        for cells in reader:
            yield reader.line_num, cells
    except csv.Error as error:
        problems.append(RowProblem(reader.line_num, "", f"cannot be read as CSV: {error}"))


def _read(
    text: str, header: list[str], columns: list[Column], problems: list[RowProblem], date_names: tuple[str, ...]
) -> StationFile:
    date_at = next((at for at, name in enumerate(header) if name.lower() in date_names), None)
    if date_at is None:
        problems.append(RowProblem(1, date_names[0], f"column {date_names[0]!r} is missing"))
    if date_at is None or not columns:
        if not columns:
            problems.append(RowProblem(1, "", "no column with weather was found"))
        return StationFile((), tuple(problems), (), ())
    position = [(column, header.index(column.name)) for column in columns]
    days: list[StationDay] = []
    spoiled: list[StationDay] = []
    for row, cells in csv_rows(text, problems):
        if row == 1 or not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(header):
            problems.append(RowProblem(row, "", f"has {len(cells)} cells, the header {len(header)}"))
            date = parse_date(cells[date_at]) if date_at < len(cells) else None
            if date is not None:
                spoiled.append(StationDay(row, date, {}))
            continue
        day, found = _day(row, cells[date_at], [(column, cells[at]) for column, at in position])
        problems += found
        if day is not None:
            (spoiled if found else days).append(day)
    return sorted_out(days, problems, tuple(column.field for column in columns), spoiled)


def _day(row: int, date_text: str, cells: list[tuple[Column, str]]) -> tuple[StationDay | None, list[RowProblem]]:
    """A row's day, None without a date, and what is wrong; one bad cell spoils the row, a guess would hide it."""
    problems: list[RowProblem] = []
    date = parse_date(date_text)
    if date is None:
        problems.append(RowProblem(row, "date", f"{date_text!r} is not a date (YYYY-MM-DD)"))
    values: dict[str, float | None] = {}
    for column, cell in cells:
        value, words = si_value(cell, column.field, column.unit)
        values[column.field] = value
        if words:
            problems.append(RowProblem(row, column.name, words))
    return (None if date is None else StationDay(row, date, values)), problems


def parse_date(text: str) -> dt.date | None:
    """YYYY-MM-DD, YYYY/MM/DD or YYYYMMDD; anything else (12/03/2024 could be two days) is refused."""
    cleaned = text.strip().replace("/", "-")
    try:
        return dt.date.fromisoformat(cleaned)
    except ValueError:
        return None


def si_value(cell: str, field: str, unit: str) -> tuple[float | None, str]:
    """A cell in SI units and, where it cannot be used, why not."""
    text = cell.strip()
    if text.lower() in MISSING_WORDS:
        return None, ""
    try:
        number = float(text)
    except ValueError:
        return None, f"{text!r} is not a number"
    if not math.isfinite(number):
        return None, f"{text!r} is not a finite number"
    factor, offset = COLUMN_UNITS[field][unit]
    value = number * factor + offset
    low, high, si_unit = PLAUSIBLE[field]
    # Unit conversion can leave -1e-14 where zero was meant.
    if low - 1e-9 <= value <= high + 1e-9:
        return min(max(value, low), high), ""
    words = f"{text} {SAID.get(unit, unit)} is outside {low:g} to {high:g} {si_unit}"
    other = _other_unit(number, field, unit)
    return None, words + (f"; is it in {SAID.get(other, other)}?" if other else "")


def _other_unit(number: float, field: str, unit: str) -> str:
    low, high, _ = PLAUSIBLE[field]
    fitting = (
        name
        for name, (factor, offset) in COLUMN_UNITS[field].items()
        if name != unit and low <= number * factor + offset <= high
    )
    return next(fitting, "")


def sorted_out(
    days: list[StationDay],
    problems: list[RowProblem],
    fields: tuple[str, ...],
    spoiled: Iterable[StationDay] = (),
) -> StationFile:
    """Check days against each other and themselves: duplicates, tmin above tmax, a wrong unit, gaps.

    `spoiled` are rows that are told as bad already; the same day in another row is told all the same, since the
    good row may be the wrong one. Of two good rows of a day the first counts.
    """
    good: dict[dt.date, StationDay] = {}
    first_seen: dict[dt.date, int] = {}
    bad = {day.row for day in spoiled}
    for day in sorted((*days, *spoiled), key=lambda day: day.row):
        first = first_seen.setdefault(day.date, day.row)
        if first != day.row:
            problems.append(RowProblem(day.row, "date", f"{day.date} is already in row {first}"))
        words = _contradiction(day) if day.row not in bad else ""
        if words:
            problems.append(RowProblem(day.row, "temp_min" if "temp" in words else "rh_min", words))
        elif day.row not in bad:
            good.setdefault(day.date, day)
    kept = sorted(good.values(), key=lambda day: day.date)
    problems += wrong_unit_suspicions(kept, fields)
    problems.sort(key=lambda problem: (problem.row, problem.column))
    return StationFile(tuple(kept), tuple(problems), gaps_between([day.date for day in kept]), fields)


def _contradiction(day: StationDay) -> str:
    low, high = day["temp_min"], day["temp_max"]
    if low is not None and high is not None and low > high:
        return f"temp_min {low:g} is above temp_max {high:g} °C"
    dry, damp = day["rh_min"], day["rh_max"]
    if dry is not None and damp is not None and dry > damp:
        return f"rh_min {dry:g} is above rh_max {damp:g} %"
    return ""


# A year whose mean daily maximum lies above this is Fahrenheit in a Celsius column; below the other, the reverse.
HOTTEST_MEAN_MAX_C, COLDEST_MEAN_MAX_C = 45.0, -25.0
FEWEST_DAYS_TO_JUDGE = 10


def wrong_unit_suspicions(days: list[StationDay], fields: tuple[str, ...]) -> list[RowProblem]:
    """Problems of the whole file (row 0): a column whose figures as a whole fit another unit better."""
    highs = [value for day in days if (value := day["temp_max"]) is not None]
    if "temp_max" not in fields or len(highs) < FEWEST_DAYS_TO_JUDGE:
        return []
    mean = sum(highs) / len(highs)
    if mean > HOTTEST_MEAN_MAX_C or mean < COLDEST_MEAN_MAX_C:
        return [RowProblem(0, "temp_max", f"mean maximum {mean:.1f} °C: is the column's unit right?")]
    return []


def gaps_between(dates: list[dt.date]) -> tuple[Gap, ...]:
    """Missing days between sorted dates."""
    one = dt.timedelta(days=1)
    return tuple(
        Gap(before + one, after - one)
        for before, after in zip(dates, dates[1:], strict=False)
        if after - before > one
    )
