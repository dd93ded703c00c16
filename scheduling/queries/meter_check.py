"""The meter against what the schedules let through: spans between reads, suspicion of a leak, year against year."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scheduling.core.water.budget import YearOnYear, year_on_year
from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.climate import Climatology
from scheduling.core.water.meter import Read, Use, consumption, expected_band, suspects_leak
from scheduling.core.water.replay import ground_of
from scheduling.core.water.season import ZoneSeason
from scheduling.core.water.volumes import to_litres
from scheduling.queries.climate import days_with_normals, station_climatology
from scheduling.queries.overnight import NightRead, nights
from scheduling.queries.plan import StationWeather, site_seasons
from scheduling.queries.published import DailyRuns, daily_runs
from scheduling.queries.site_budget import HALF_DAY, METER_UNIT, USUAL_LARGEST_FLOW_L_MIN, metered_use
from sites.models import Meter, Site, WaterSupply, Zone

QUIET_SHARE = 0.02  # of the busiest span's litres a day: nothing much was to be irrigated; common practice
SHORTEST_ALONE_DAYS = 7  # a shorter quiet span tells of a leak only together with others; common practice
SHOWN_SPANS, SHOWN_NIGHTS = 14, 5
NOT_SCHEDULED = "no schedule was published on all of these days"
BASIS = (
    "Expected: run times as published times each zone's flow, pauses taken off. The band is what unsure flows allow: "
    "8 % where a zone's flow was measured, 20 % from the design, 40 % where a usual value stands in, each zone for "
    "itself, and 5 % for what moves all of them (common practice)."
)


@dataclass(frozen=True)
class ReadSpan:
    """Between two reads: metered litres, the expected ones with their band, and what that says."""

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
        """ "above", "below", "within", or "" where the reads do not tell or no schedule was in force."""
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
    years: YearOnYear | None
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
    largest_l = _largest_l_per_day(site)
    uses, unit_l, needs = _uses(meter, largest_l, dt.date(today.year - 1, 1, 1))
    weather, found = _seasons(site, today.year)
    if needs or not uses or not found:
        return MeterCheck(meter, (), None, None, None, needs or "two reads, and zones that can be computed")
    assert weather is not None
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
        years=_years(site, meter, weather, uses, today),
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


def _largest_l_per_day(site: Site) -> float:
    supplies = WaterSupply.objects.filter(site=site).values_list("flow_available_l_min", flat=True)
    return max((value for value in supplies if value), default=USUAL_LARGEST_FLOW_L_MIN) * 24 * 60


def _uses(meter: Meter, largest_l_per_day: float, since: dt.date) -> tuple[list[Use], float, str]:
    unit_l = to_litres(1.0, METER_UNIT[meter.unit]) * meter.multiplier
    reads = [
        Read(dt.datetime.combine(read.read_on, HALF_DAY, tzinfo=dt.UTC), float(read.register), "", read.estimated)
        for read in meter.readings.all()
        if read.read_on >= since
    ]
    try:
        return list(consumption(reads, meter.digits, largest_l_per_day / unit_l)), unit_l, ""
    except WaterInputError as error:
        return [], unit_l, f"a look at the reads: {error}"


def _seasons(site: Site, year: int) -> tuple[Climatology | None, Sequence[tuple[Zone, ZoneSeason]]]:
    if site.weather_station is None:
        return None, ()
    try:
        climate = station_climatology(site.weather_station)
    except WaterInputError:
        return None, ()
    return climate, site_seasons(site, StationWeather(climate, None), year).seasons


def _spans(
    uses: Sequence[Use],
    unit_l: float,
    found: Sequence[tuple[Zone, ZoneSeason]],
    runs: DailyRuns,
    nights_from: set[dt.date],
) -> list[ReadSpan]:
    first = uses[0].start.date()
    seasons = [season for _, season in found]
    rates = ground_of(seasons).litres_per_min
    litres = runs.of([zone.pk for zone, _ in found]) * rates
    origins = [_origin(season) for season in seasons]
    unmetered = _without_flow(found, rates, runs)
    spans = []
    for use in uses:
        start, end = use.start.date(), use.end.date()
        days = slice((start - first).days, (end - first).days)
        by_zone = np.nansum(litres[days], axis=0).tolist()
        low, high = expected_band(by_zone, origins)
        metered = None if use.use is None else use.use * unit_l
        scheduled = bool(runs.in_force[days].all())
        missing = [name for name, minutes in unmetered.items() if minutes[days].any()]
        remarks = [use.remark or ("" if scheduled else NOT_SCHEDULED)]
        remarks += [f"expected without zone {', '.join(missing)}: flow not known"] if missing else []
        if start in nights_from:
            scheduled, remarks = False, ["one night, see below"]
        remark = "; ".join(filter(None, remarks))
        spans.append(ReadSpan(start, end, metered, sum(by_zone), low, high, use.estimated, remark, scheduled))
    return spans


def _without_flow(
    found: Sequence[tuple[Zone, ZoneSeason]], rates: np.ndarray, runs: DailyRuns
) -> dict[str, np.ndarray]:
    """Minutes by day of the zones that ran although their litres cannot be told, by name."""
    known = {zone.pk for (zone, _), rate in zip(found, rates, strict=True) if not np.isnan(rate)}
    lacking = [pk for pk in runs.minutes if pk not in known]
    zones = Zone.objects.filter(pk__in=lacking).order_by("number") if lacking else ()
    return {str(zone): runs.minutes[zone.pk] for zone in zones}


def _origin(season: ZoneSeason) -> str:
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


def _years(site: Site, meter: Meter, climate: Climatology, uses: Sequence[Use], today: dt.date) -> YearOnYear | None:
    """This season's metered use against the same days of last year, both put to a normal year's ET less rain."""
    starts = [use.start.date() for use in uses if use.start.date().year == today.year]
    if not starts:
        return None
    first, last = starts[0], uses[-1].end.date()
    spans = [(first, last), (_year_before(first), _year_before(last))]
    litres, net = [], []
    assert site.weather_station is not None
    for begin, end in spans:
        found = [use.litres for use in metered_use(site, begin, end) if use.meter_id == meter.pk]
        days = days_with_normals(site.weather_station, climate, begin, end)
        by_month = [(days.et_mm - days.rain_mm)[days.month_row == row].sum() for row in range(12)]
        litres.append(found[0] if found else None)
        net.append(float(sum(max(each, 0.0) for each in by_month)))
    normal = float(np.maximum(climate.et_mm.mean - climate.rain_mm.mean, 0)[first.month - 1 : last.month].sum())
    if litres[0] is None or not litres[1] or min(net) <= 0:
        return None
    return year_on_year(litres[0], net[0], litres[1], net[1], normal)


def _year_before(date: dt.date) -> dt.date:
    return date.replace(year=date.year - 1, day=28 if (date.month, date.day) == (2, 29) else date.day)
