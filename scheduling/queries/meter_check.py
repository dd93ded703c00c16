"""The meter against what the schedules let through: spans between readings, suspicion of a leak."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.meter import Use, expected_band, suspects_leak
from scheduling.core.water.season import ZoneSeason
from scheduling.queries.climate import station_climatology
from scheduling.queries.metered import largest_l_per_day, uses_of
from scheduling.queries.overnight import NightRead, nights
from scheduling.queries.plan import StationWeather, site_seasons
from scheduling.queries.published import DailyRuns, daily_runs
from sites.models import Meter, Site, Zone

QUIET_SHARE = 0.02  # of the busiest span's litres a day: nothing much was to be irrigated; common practice
SHORTEST_ALONE_DAYS = 7  # a shorter quiet span tells of a leak only together with others; common practice
SHOWN_SPANS, SHOWN_NIGHTS = 14, 5
NOT_SCHEDULED = "no schedule was published on all of these days"
BASIS = (
    "Expected: run times as set, times each zone's flow, without the days the site was off or paused and without "
    "zones that a fault stopped. The band is what unsure flows allow: 8 % where a zone's flow was measured, 20 % "
    "from the design, 40 % where a usual value stands in, each zone for itself, and 5 % for what moves all of them "
    "(common practice)."
)


@dataclass(frozen=True)
class ReadSpan:
    """Between two readings: metered litres, the expected ones with their band, and what that says."""

    first: dt.date
    last: dt.date
    metered_l: float | None
    expected_l: float
    low_l: float
    high_l: float
    estimated: bool
    remark: str
    scheduled: bool

    @property
    def verdict(self) -> str:
        """ "above", "below", "within", or "" where the readings do not tell or no schedule was in force."""
        if self.metered_l is None or not self.scheduled:
            return ""
        if self.metered_l > self.high_l:
            return "above"
        return "below" if self.metered_l < self.low_l else "within"

    @property
    def days(self) -> int:
        return (self.last - self.first).days


@dataclass(frozen=True)
class MeterCheck:
    """One irrigation meter of the site. `leak` is None where no span off season tells.

    With a leak the litres a day off season are those between `leak_from` and `leak_until`.
    """

    meter: Meter
    spans: tuple[ReadSpan, ...]
    leak: bool | None
    off_season_l_per_day: float | None
    needs: str = ""
    nights: tuple[NightRead, ...] = ()
    leak_from: dt.date | None = None
    leak_until: dt.date | None = None
    leak_is_latest: bool = False
    basis: str = BASIS

    @property
    def above(self) -> int:
        return sum(span.verdict == "above" for span in self.spans)

    @property
    def last_quiet_night(self) -> NightRead | None:
        """The latest night without scheduled watering."""
        return next((night for night in reversed(self.nights) if not night.remark), None)


def meter_check(site: Site, today: dt.date) -> MeterCheck | None:
    """The site's one irrigation meter over the last two years; None without one, or where several share the site."""
    meters = list(Meter.objects.filter(site=site, irrigation_only=True, removed_on=None).prefetch_related("readings"))
    if len(meters) != 1:
        return None
    (meter,) = meters
    largest_l = largest_l_per_day(site)
    uses, unit_l, needs = uses_of(meter, largest_l, dt.date(today.year - 1, 1, 1))
    found = _seasons(site, today.year)
    if needs or not uses or not found:
        return MeterCheck(meter, (), None, None, needs or "two readings, and zones that can be computed")
    runs = daily_runs([site], uses[0].start.date(), uses[-1].end.date())[site.pk]
    around = nights(meter, site, runs, largest_l / unit_l, unit_l)
    spans = _spans(uses, unit_l, found, runs, {night.first.read_on for night in around})
    quiet, busy = _quiet(spans, uses)
    leak, told = _leak(quiet, busy)
    days = sum(use.days for use in told)
    idle = sum(use.use or 0.0 for use in told) * unit_l / days if days else None
    return MeterCheck(
        meter=meter,
        spans=tuple(spans[-SHOWN_SPANS:]),
        leak=leak,
        off_season_l_per_day=idle,
        nights=tuple(around[-SHOWN_NIGHTS:]),
        leak_from=told[0].start.date() if leak else None,
        leak_until=told[-1].end.date() if leak else None,
        leak_is_latest=bool(leak) and told[-1] is quiet[-1],
    )


def _leak(quiet: list[Use], busy: list[Use]) -> tuple[bool | None, list[Use]]:
    """Whether something leaks, and the quiet spans that say so: the latest long one that does, else all together.

    Each long span stands for itself: a winter with the supply shut off would hide a leak in a sum of all.
    """
    alone = [[use] for use in reversed(quiet) if use.days >= SHORTEST_ALONE_DAYS]
    verdicts = [(suspects_leak(group, busy), group) for group in (*alone, quiet)]
    leaking = next((group for verdict, group in verdicts if verdict), None)
    if leaking is not None:
        return True, leaking
    return (None if all(verdict is None for verdict, _ in verdicts) else False), quiet


def _seasons(site: Site, year: int) -> dict[int, ZoneSeason]:
    """The zones that can be computed; nothing without a year of weather."""
    if site.weather_station is None:
        return {}
    try:
        climate = station_climatology(site.weather_station)
    except WaterInputError:
        return {}
    return {zone.pk: season for zone, season in site_seasons(site, StationWeather(climate), year).seasons}


def _spans(
    uses: Sequence[Use], unit_l: float, seasons: Mapping[int, ZoneSeason], runs: DailyRuns, nights_from: set[dt.date]
) -> list[ReadSpan]:
    first = uses[0].start.date()
    origins = [_origin(seasons.get(pk)) for pk in runs.litres]
    names = {zone.pk: str(zone) for zone in Zone.objects.filter(pk__in=list(runs.litres))}
    spans = []
    for use in uses:
        start, end = use.start.date(), use.end.date()
        days = slice((start - first).days, (end - first).days)
        by_zone = [float(np.nansum(litres[days])) for litres in runs.litres.values()]
        low, high = expected_band(by_zone, origins)
        metered = None if use.use is None else use.use * unit_l
        scheduled = bool(runs.in_force[days].all())
        missing = sorted(names[pk] for pk, litres in runs.litres.items() if np.isnan(litres[days]).any())
        remarks = [use.remark or ("" if scheduled else NOT_SCHEDULED)]
        remarks += [f"expected without zone {', '.join(missing)}: flow not known"] if missing else []
        if start in nights_from:
            scheduled, remarks = False, ["one night, see below"]
        remark = "; ".join(filter(None, remarks))
        spans.append(ReadSpan(start, end, metered, sum(by_zone), low, high, use.estimated, remark, scheduled))
    return spans


def _origin(season: ZoneSeason | None) -> str:
    if season is None:
        return "default"
    flow = season.zone.flow_l_min
    if flow is not None:
        return flow.origin if flow.origin in ("measured", "default") else "register"
    return "default" if season.zone.rate.derivation.defaults else "register"


def _quiet(spans: Sequence[ReadSpan], uses: Sequence[Use]) -> tuple[list[Use], list[Use]]:
    """Uses of spans in which by the schedule hardly anything was to run, and of those in which it was."""
    rates = [span.expected_l / max(span.days, 1) for span in spans]
    limit = QUIET_SHARE * max(rates)
    told = [(use, rate) for use, rate, span in zip(uses, rates, spans, strict=True) if span.scheduled]
    return [use for use, rate in told if rate <= limit], [use for use, rate in told if rate > limit]
