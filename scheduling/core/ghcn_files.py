"""GHCN-Daily station files: the fixed-width `.dly` form and the CSV form by station or by year.

Format facts (open documentation of the US national archive): values are tenths (PRCP mm, TMAX and TMIN degC, AWND
m/s), -9999 is missing, a quality flag marks a value that failed a check. Such values are left out and reported.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from scheduling.core.station_files import (
    PLAUSIBLE,
    RowProblem,
    StationDay,
    StationFile,
    csv_rows,
    parse_date,
    sorted_out,
)

# element -> (our field, factor to SI)
ELEMENTS = {
    "PRCP": ("precipitation", 0.1),
    "TMAX": ("temp_max", 0.1),
    "TMIN": ("temp_min", 0.1),
    "AWND": ("wind", 0.1),
}
MISSING = -9999
QUALITY_FLAGS = {
    "D": "duplicate check",
    "G": "gap check",
    "I": "internal consistency check",
    "K": "streak check",
    "L": "multi-day period check",
    "M": "mega-consistency check",
    "N": "naught check",
    "O": "climatological outlier check",
    "R": "lagged range check",
    "S": "spatial consistency check",
    "T": "temporal consistency check",
    "W": "temperature too warm for snow",
    "X": "bounds check",
    "Z": "datzilla (flagged by hand)",
}
DLY_DAYS, DLY_DAYS_AT, DLY_DAY_WIDTH = 31, 21, 8


@dataclass(frozen=True)
class _Observation:
    row: int
    station: str
    date: dt.date
    element: str
    value: int
    quality: str


def read_ghcn_dly(text: str, station: str = "") -> StationFile:
    """The fixed-width station file: one line an element and month, 31 values of width 5 with three flags."""
    problems: list[RowProblem] = []
    return _collect(_dly_observations(text, problems), problems, station)


def _dly_observations(text: str, problems: list[RowProblem]) -> Iterator[_Observation]:
    for row, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        element = line[17:21]
        if element not in ELEMENTS:
            continue
        try:
            year, month = int(line[11:15]), int(line[15:17])
            dt.date(year, month, 1)
        except ValueError:
            problems.append(RowProblem(row, "", "columns 12 to 17 hold no year and month"))
            continue
        for day in range(1, DLY_DAYS + 1):
            at = DLY_DAYS_AT + (day - 1) * DLY_DAY_WIDTH
            cell = line[at : at + 5]
            if not cell.strip():
                problems.append(RowProblem(row, element, f"the line ends before day {day}"))
                break
            try:
                value = int(cell)
                date = dt.date(year, month, day) if value != MISSING else None
            except ValueError:
                problems.append(RowProblem(row, element, f"day {day}: no such day, or {cell.strip()!r} is no number"))
                continue
            if date is not None:
                yield _Observation(row, line[:11], date, element, value, line[at + 6 : at + 7].strip())


CSV_COLUMNS = ("STATION", "DATE", "ELEMENT", "VALUE", "MFLAG", "QFLAG", "SFLAG", "TIME")
_OTHER_NAMES = {"ID": "STATION", "DATA_VALUE": "VALUE", "DATA VALUE": "VALUE", "Q_FLAG": "QFLAG", "M_FLAG": "MFLAG"}


def read_ghcn_csv(text: str, station: str = "") -> StationFile:
    """The long CSV, one row an element and day, with a header or (by-year files) without one.

    Columns STATION, DATE, ELEMENT, VALUE, MFLAG, QFLAG, SFLAG and perhaps a time. `station` picks one of many.
    """
    problems: list[RowProblem] = []
    return _collect(_csv_observations(text, problems), problems, station)


def _csv_observations(text: str, problems: list[RowProblem]) -> Iterator[_Observation]:
    names: list[str] = list(CSV_COLUMNS)
    for row, cells in csv_rows(text, problems):
        if row == 1 and any(cell.strip().upper() in ("DATE", "ELEMENT") for cell in cells):
            names = [_OTHER_NAMES.get(cell.strip().upper(), cell.strip().upper()) for cell in cells]
            lacking = [name for name in CSV_COLUMNS[:4] if name not in names]
            if lacking:
                problems.append(RowProblem(1, "", f"column {', '.join(lacking)} is missing"))
                return
            continue
        found = dict(zip(names, (cell.strip() for cell in cells), strict=False))
        if not any(found.values()) or (found.get("ELEMENT") and found["ELEMENT"] not in ELEMENTS):
            continue
        date = parse_date(found.get("DATE", ""))
        if date is None or not found.get("ELEMENT"):
            problems.append(RowProblem(row, "DATE", f"{found.get('DATE', '')!r} is not a date, or no element"))
            continue
        try:
            value = int(found.get("VALUE", ""))
        except ValueError:
            problems.append(RowProblem(row, "VALUE", f"{found.get('VALUE', '')!r} is not a whole number"))
            continue
        if value != MISSING:
            yield _Observation(row, found.get("STATION", ""), date, found["ELEMENT"], value, found.get("QFLAG", ""))


def _collect(observations: Iterable[_Observation], problems: list[RowProblem], station: str) -> StationFile:
    """Put the elements of a day together; the day's row is that of its first element."""
    chosen = [seen for seen in observations if station in ("", seen.station)]
    stations = {seen.station for seen in chosen}
    if len(stations) > 1:
        problems.append(RowProblem(0, "STATION", f"{len(stations)} stations in one file: say which"))
        return StationFile((), tuple(problems), (), ())
    if not chosen and not problems:
        problems.append(RowProblem(0, "", "no day of rain, temperature or wind was found"))
    days: dict[dt.date, tuple[int, dict[str, float | None]]] = {}
    fields: set[str] = set()
    for seen in chosen:
        field, factor = ELEMENTS[seen.element]
        fields.add(field)
        row, values = days.setdefault(seen.date, (seen.row, {}))
        value = seen.value * factor
        low, high, unit = PLAUSIBLE[field]
        if field in values:
            problems.append(RowProblem(seen.row, seen.element, f"{seen.date}: the element is there twice"))
        elif seen.quality:
            check = QUALITY_FLAGS.get(seen.quality, "quality check")
            words = f"{seen.date}: value failed the {check} ({seen.quality}) and is left out"
            problems.append(RowProblem(seen.row, seen.element, words))
            values[field] = None
        elif not low <= value <= high:
            words = f"{seen.date}: {value:g} is outside {low:g} to {high:g} {unit}"
            problems.append(RowProblem(seen.row, seen.element, words))
            values[field] = None
        else:
            values[field] = round(value, 1)
    ordered = [StationDay(row, date, values) for date, (row, values) in sorted(days.items())]
    used = tuple(field for field, _ in ELEMENTS.values() if field in fields)
    return sorted_out(ordered, problems, used)
