"""Weather into the database: a station's file read, checked by row, stored by day with its reference ET."""

import datetime as dt
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from django.db import transaction
from django.utils import timezone

from scheduling.core import ghcn_files, station_files
from scheduling.core.station_files import RowProblem, StationDay, StationFile
from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.daily_et import (
    LONGEST_INTERPOLATED_GAP_DAYS,
    DailyEt,
    DailyWeather,
    daily_reference_et,
    method_words,
)
from scheduling.models import DailyWeather as WeatherDay
from scheduling.models import WeatherImport
from scheduling.queries.weather import CORE_FIELD, days_between, station_geometry
from sites.actions import register
from sites.actions.audit import record
from sites.models import User, WeatherStation

FORMATS = {
    "rillbook": "CSV with units in its header",
    "ghcn_dly": "GHCN-Daily station file (.dly)",
    "ghcn_csv": "GHCN-Daily CSV",
    "seattle": "Seattle 2012-2015 series of the vega_datasets package",
}
# The columns of the Seattle series, units as its documentation says.
SEATTLE_COLUMNS = (
    station_files.Column("precipitation", "precipitation", "mm"),
    station_files.Column("temp_max", "temp_max", "c"),
    station_files.Column("temp_min", "temp_min", "c"),
    station_files.Column("wind", "wind", "m_s"),
)
# Field of a station file -> column of the table.
STORED = {
    "precipitation": "precipitation_mm",
    "temp_max": "temp_max_c",
    "temp_min": "temp_min_c",
    "wind": "wind_m_s",
    "rh_max": "rh_max_pct",
    "rh_min": "rh_min_pct",
    "radiation": "radiation_mj_m2",
}
# Columns that contradict each other when one is new and the other old: they are replaced together.
PAIRS = (("temp_max_c", "temp_min_c"), ("rh_max_pct", "rh_min_pct"))
COMPUTED = ("eto_mm", "eto_method")
ROWS_PER_STATEMENT = 500


def import_station_text(
    *,
    station: WeatherStation,
    text: str,
    file_name: str,
    file_format: str,
    keep_good_rows: bool,
    by: User | None,
    today: dt.date | None = None,
) -> WeatherImport:
    """Store a station file's days and their reference ET; what came of it stands in the returned row.

    A day after `today` (left out: by the clock) cannot have been measured and is a bad row. With problems and
    without `keep_good_rows` nothing is stored but the report and the file itself, so that it need not be sent
    again. Days that are stored already are updated. Raises ValueError for an unknown format.
    """
    read = _without_days_to_come(read_station_text(text, file_format, station.code), today or timezone.localdate())
    problems = list(read.problems) + _not_kept(read)
    with transaction.atomic():
        WeatherStation.objects.select_for_update().get(pk=station.pk)  # one import a station at a time
        rows, impossible = _computed_rows(station, read.good_rows)
        problems = sorted(problems + impossible, key=lambda problem: (problem.row, problem.column))
        refused = bool(problems) and not keep_good_rows
        stored = 0 if refused else _store(rows, {day.date for day in read.good_rows})
        done = WeatherImport.objects.create(
            station=station,
            by=by,
            file_name=file_name[:200],
            file_format=file_format,
            rows_read=len(read.good_rows) + len({problem.row for problem in read.problems if problem.row > 1}),
            rows_stored=stored,
            problems=[_as_json(problem) for problem in problems] + _gap_notes(read),
            refused_text=text if refused else "",
        )
        record(by=by, verb="imported weather", subject=station, file=file_name, stored=stored)
    return done


def import_refused_again(
    *, refused: WeatherImport, file_format: str, keep_good_rows: bool, by: User | None
) -> WeatherImport:
    """Import a file that was refused, without sending it again; the new report takes the old one's place."""
    with transaction.atomic():
        done = import_station_text(
            station=refused.station,
            text=refused.refused_text,
            file_name=refused.file_name,
            file_format=file_format,
            keep_good_rows=keep_good_rows,
            by=by,
        )
        refused.delete()
    return done


def save_station(*, station: WeatherStation, by: User) -> WeatherStation:
    """Create or correct a station. Its days' reference ET follows where it stands, so it is computed again."""
    with transaction.atomic():
        register.save(instance=station, by=by)
        recompute_reference_et(station=station)
    return station


def read_station_text(text: str, file_format: str, station_code: str) -> StationFile:
    """The file's good rows and problems, nothing stored."""
    if file_format not in FORMATS:
        raise ValueError(f"Unknown format {file_format!r}. Known are {', '.join(FORMATS)}.")
    if file_format == "rillbook":
        return station_files.read_station_csv(text)
    if file_format == "seattle":
        return station_files.read_declared_csv(text, SEATTLE_COLUMNS, ignored=("weather",))
    read: Callable[..., StationFile] = {
        "ghcn_dly": ghcn_files.read_ghcn_dly,
        "ghcn_csv": ghcn_files.read_ghcn_csv,
    }[file_format]
    found = read(text)
    several = any(problem.column == "STATION" for problem in found.problems)
    return read(text, station_code) if several else found


def _without_days_to_come(read: StationFile, today: dt.date) -> StationFile:
    ahead = [day for day in read.good_rows if day.date > today]
    if not ahead:
        return read
    words = "has not come yet: it cannot have been measured"
    told = [RowProblem(day.row, "date", f"{day.date} {words}") for day in ahead]
    kept = tuple(day for day in read.good_rows if day.date <= today)
    gaps = station_files.gaps_between([day.date for day in kept])
    return replace(read, good_rows=kept, problems=(*read.problems, *told), gaps=gaps)


def recompute_reference_et(*, station: WeatherStation) -> int:
    """Compute every stored day's ET again, after the station's place was corrected. Returns the days changed."""
    with transaction.atomic():
        stored = list(WeatherDay.objects.filter(station=station).order_by("date"))
        if not stored:
            return 0
        et = daily_reference_et(_arrays(stored), station_geometry(station))
        changed = [day for day in _with_et(stored, et) if day is not None]
        WeatherDay.objects.bulk_update(changed, COMPUTED, batch_size=ROWS_PER_STATEMENT)
    return len(changed)


def _computed_rows(
    station: WeatherStation, days: tuple[StationDay, ...]
) -> tuple[list[WeatherDay], list[RowProblem]]:
    """Rows to store, each with its ET: those of the file, and stored neighbours whose gap the file closes.

    A row whose weather is impossible at this station (more radiation than reaches the atmosphere) is reported.
    """
    problems: list[RowProblem] = []
    good = {day.date: day for day in days}
    while good:
        reach = dt.timedelta(days=LONGEST_INTERPOLATED_GAP_DAYS + 1)
        before = {day.date: day for day in days_between(station, min(good) - reach, max(good) + reach)}
        merged = {date: _merged(station, before.get(date), day) for date, day in good.items()}
        rows = sorted({**before, **merged}.values(), key=lambda day: day.date)
        try:
            et = daily_reference_et(_arrays(rows), station_geometry(station))
        except WaterInputError as error:
            found = _blamed(error, rows, good)
            if not found:
                raise
            problems += found
            bad = {problem.row for problem in found}
            good = {date: day for date, day in good.items() if day.row not in bad}
            continue
        changed = {day.date for day in _with_et(rows, et) if day is not None}
        return [day for day in rows if day.date in merged or day.date in changed], problems
    return [], problems


def _merged(station: WeatherStation, before: WeatherDay | None, day: StationDay) -> WeatherDay:
    """The file's values over the stored ones. An empty cell erases nothing; pairs are replaced together."""
    row = WeatherDay(station=station, date=day.date)
    new = {column: day[field] for field, column in STORED.items()}
    for column in CORE_FIELD:
        if new[column] is None and before is not None:
            partner = next((a if b == column else b for a, b in PAIRS if column in (a, b)), None)
            if partner is None or new[partner] is None:
                new[column] = getattr(before, column)
        setattr(row, column, new[column])
    if before is not None:
        row.eto_mm, row.eto_method = before.eto_mm, before.eto_method
    return row


def _arrays(rows: list[WeatherDay]) -> DailyWeather:
    """All days from the first to the last, NaN where a day or a value is missing."""
    first = rows[0].date
    length = (rows[-1].date - first).days + 1
    columns = {name: np.full(length, np.nan) for name in CORE_FIELD}
    places = [(row.date - first).days for row in rows]
    for name, column in columns.items():
        column[places] = [np.nan if (value := getattr(row, name)) is None else value for row in rows]
    dates = np.arange(np.datetime64(first), np.datetime64(first) + length)
    return DailyWeather(dates=dates, **{CORE_FIELD[name]: column for name, column in columns.items()})


def _with_et(rows: list[WeatherDay], et: DailyEt) -> list[WeatherDay | None]:
    """The rows with their new ET, None in place of a row that kept its own."""
    first = rows[0].date
    words: dict[int, str] = {}
    changed: list[WeatherDay | None] = []
    for row in rows:
        place = (row.date - first).days
        value = None if np.isnan(et.et_mm[place]) else float(et.et_mm[place])
        code = int(et.method[place])
        method = words.setdefault(code, method_words(code))
        same = row.eto_mm == value and row.eto_method == method
        row.eto_mm, row.eto_method = value, method
        changed.append(None if same else row)
    return changed


def _blamed(error: WaterInputError, rows: list[WeatherDay], good: dict[dt.date, StationDay]) -> list[RowProblem]:
    """The file rows the core refused: its positions count days from the first row's date."""
    first = rows[0].date
    dates = [first + dt.timedelta(days=place) for place in error.rows]
    return [RowProblem(good[date].row, error.field, error.problem) for date in dates if date in good]


def _store(rows: list[WeatherDay], dates: set[dt.date]) -> int:
    """Insert or update by station and date; returns how many of the file's own days were stored."""
    for row in rows:
        row.pk = None  # the conflict is found by station and date
    WeatherDay.objects.bulk_create(
        rows,
        batch_size=ROWS_PER_STATEMENT,
        update_conflicts=True,
        unique_fields=["station", "date"],
        update_fields=[*CORE_FIELD, *COMPUTED],
    )
    return sum(row.date in dates for row in rows)


def _not_kept(read: StationFile) -> list[RowProblem]:
    return [
        RowProblem(1, field, f"{field} is understood but not kept; the day's ET is computed without it")
        for field in read.fields
        if field not in STORED
    ]


def _as_json(problem: RowProblem) -> dict[str, object]:
    return {"row": problem.row, "column": problem.column, "message": problem.words}


def _gap_notes(read: StationFile) -> list[dict[str, object]]:
    """Missing days are told but stop nothing: a station's record may have holes."""
    return [{"row": 0, "column": "date", "message": _missing(gap), "note": True} for gap in read.gaps]


def _missing(gap: station_files.Gap) -> str:
    return f"1 day missing: {gap.first}" if gap.days == 1 else f"{gap.days} days missing: {gap.first} to {gap.last}"
