"""The advice followed through recorded years, beside other ways of watering the same zones."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from scheduling.core.water.advice import Flags, Outlook
from scheduling.core.water.checks import Array, WaterInputError
from scheduling.core.water.climate import Climatology, filled_with_normals, monthly_climatology
from scheduling.core.water.daily_et import DailyEt, DailyWeather
from scheduling.core.water.outlook import by_normals_of_each_year, outlook_of
from scheduling.core.water.replay import Days, Ground, Replay, replay_by_advice

FEWEST_DAYS = 360  # of a year, for it to count as recorded
Setting = Literal["weekly", "daily"]
SETTINGS: dict[Setting, str] = {
    "weekly": "the advice is set each Monday and runs unchanged for a week",
    "daily": "the advice is set every morning",
}


@dataclass(frozen=True)
class Record:
    """A station's recorded years and, for each, the normals of the others: all that could be known of its days.

    The days run without a gap; what the station missed shows the normals. `years` are those of at least 360 days.
    """

    days: Days
    years: tuple[int, ...]
    climates: Mapping[int, Climatology]
    own_normals: bool

    @property
    def year_of(self) -> NDArray[np.int64]:
        """The calendar year of each day."""
        return self.days.dates.astype("datetime64[Y]").astype(np.int64) + 1970


def record_of(station: str, weather: DailyWeather, et: DailyEt) -> Record:
    """The station's whole years. With one year alone its own normals stand in, and `own_normals` says so.

    Raises `WaterInputError` where no year is whole.
    """
    rain = np.full(len(weather.dates), np.nan) if weather.rain_mm is None else weather.rain_mm
    known = ~np.isnan(et.et_mm) & ~np.isnan(rain)
    years = weather.dates.astype("datetime64[Y]").astype(int) + 1970
    whole = tuple(year for year in np.unique(years).tolist() if known[years == year].sum() >= FEWEST_DAYS)
    if not whole:
        raise WaterInputError("weather", f"no year of at least {FEWEST_DAYS} days with reference ET and rain")
    of_all = monthly_climatology(station, weather, et)
    span = np.arange(np.datetime64(f"{whole[0]}-01-01"), np.datetime64(f"{whole[-1] + 1}-01-01"))
    climates = dict.fromkeys(range(whole[0], whole[-1] + 1), of_all)
    for year in whole if len(whole) > 1 else ():
        climates[year] = _without(station, weather, et, years != year)
    et_mm, rain_mm = (_on(span, weather.dates, values) for values in (et.et_mm, rain))
    days = Days(
        span,
        filled_with_normals(et_mm, of_all.et_mm.mean, span),
        filled_with_normals(rain_mm, of_all.rain_mm.mean, span),
        filled=int((np.isnan(et_mm) | np.isnan(rain_mm)).sum()),
    )
    return Record(days, whole, climates, len(whole) == 1)


def _without(station: str, weather: DailyWeather, et: DailyEt, kept: Flags) -> Climatology:
    dates = weather.dates[kept]
    rain = None if weather.rain_mm is None else weather.rain_mm[kept]
    rest = DailyWeather(dates, weather.tmax_c[kept], weather.tmin_c[kept], rain)
    return monthly_climatology(station, rest, DailyEt(dates, et.et_mm[kept], et.method[kept]))


def _on(span: NDArray[np.datetime64], dates: NDArray[np.datetime64], values: Array) -> Array:
    found = np.full(len(span), np.nan)
    place = (dates - span[0]).astype(np.int64)
    inside = (place >= 0) & (place < len(span))
    found[place[inside]] = values[inside]
    return found


def set_days(dates: NDArray[np.datetime64], setting: Setting) -> Flags:
    """The days on which the advice is set: Mondays or all."""
    if setting == "daily":
        return np.ones(len(dates), np.bool_)
    return (dates.astype("datetime64[D]").astype(np.int64) + 3) % 7 == 0


def outlook_of_record(ground: Ground, record: Record, permitted: Flags) -> Outlook:
    """What could be expected of every recorded day; permitted (days,) or (days, zones) as `record.days`."""
    expected = by_normals_of_each_year(record.climates, record.days.dates)
    beyond = len(expected.dates) - len(permitted)
    return outlook_of(ground, expected, np.concatenate([permitted, permitted[-beyond:]]))


def follow_advice(ground: Ground, record: Record, permitted: Flags, setting: Setting) -> Replay:
    """The advice followed through all recorded days, from the middle of a cycle."""
    outlook = outlook_of_record(ground, record, permitted)
    return replay_by_advice(ground, record.days, outlook, set_days(record.days.dates, setting))


@dataclass(frozen=True)
class Year:
    """One recorded year of some zones together: litres and lost litres over those whose flow is known.

    net_mm is the mean over the zones, waterings and stress_days are sums: one zone on one day.
    """

    year: int
    net_mm: float
    litres: float
    waterings: int
    stress_days: int
    lost_l: float
    displaced_l: float


def by_year(replay: Replay, record: Record) -> tuple[Year, ...]:
    """What each recorded year took and lost."""
    found = []
    for year in record.years:
        of = record.year_of == year
        found.append(
            Year(
                year,
                float(replay.balance.irrigation_mm[of].sum(axis=0).mean()),
                float(np.nansum(replay.litres[of])),
                int(np.count_nonzero(replay.balance.irrigation_mm[of] > 0)),
                int(np.count_nonzero(replay.stress[of])),
                float(np.nansum(replay.lost_irrigation_l[of])),
                float(np.nansum(replay.displaced_l[of])),
            )
        )
    return tuple(found)
