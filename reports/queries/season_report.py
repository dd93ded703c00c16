"""A site's season as the dataclass that the season report prints. Every figure comes from the register."""

import calendar
import datetime as dt
from collections import defaultdict

from django.db.models import Q

from jobs.models import Fault, Visit, VisitKind
from reports.documents import season_report as report
from reports.documents.kit.charts import Amount
from reports.queries.letterhead import address_lines, amount, day, letterhead
from reports.queries.service_sheet import fault_place
from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.climate import Climatology
from scheduling.models import DailyWeather, SeasonSchedule
from scheduling.queries.climate import station_climatology
from scheduling.queries.explain import Explained, explain
from scheduling.queries.water_use import SiteWaterUse, site_water_use
from sites.core.units import to_display, unit_label
from sites.models import Firm, Site, Zone

MONTHS = tuple(calendar.month_abbr[month] for month in range(1, 13))
LITRES_PER_M3 = 1000.0
# A month is told as weather only when nearly all its days are known.
MOST_MISSING_DAYS = 3


def season_report_data(site: Site, *, season_year: int, prepared_on: dt.date) -> report.SeasonReport:
    """The report of one site and calendar year, as far as the year has gone on `prepared_on`."""
    firm = Firm.current()
    until = min(prepared_on, dt.date(season_year, 12, 31))
    use = site_water_use(site, season_year=season_year, until=until)
    weather = _weather_months(site, season_year, until, firm)
    faults = _faults(site, season_year)
    return report.SeasonReport(
        firm=letterhead(firm),
        reference=f"Site {site.pk}, season {season_year}",
        client_name=site.client.name,
        site_name=site.name,
        site_address_lines=address_lines(site),
        season=str(season_year),
        period=f"1 January to {day(until)}",
        prepared_on=day(prepared_on),
        prepared_by=firm.name,
        summary=_summary(use, faults, firm),
        headlines=_headlines(use, weather, firm),
        depth_unit=unit_label("depth", firm.units),
        volume_unit=unit_label("volume", firm.units),
        weather_text=_weather_text(site),
        weather_months=weather,
        weather_source=f"Weather station: {site.weather_station.name}." if site.weather_station else "",
        water_text=use.basis,
        water_months=_water_months(use, until, firm),
        water_total=_water_total(use, firm),
        zones=_zones(use, firm),
        visits=_visits(site, season_year),
        faults=tuple(_fault_line(fault) for fault in faults),
        recommendations=_recommendations(site, use, firm),
        costs=_costs(use, firm),
        cost_total=f"{use.cost.total:,.2f} {firm.currency}" if use.cost else "",
        next_dates=_next_dates(site, prepared_on),
        assumptions=_assumptions(site, season_year),
    )


def _volume(litres: float | None, firm: Firm) -> Amount | None:
    """Litres as a charted figure in the firm's unit of volume."""
    if litres is None:
        return None
    cubic_metres = litres / LITRES_PER_M3
    shown = max(to_display(cubic_metres, "volume", firm.units), 0.0)
    return Amount(shown, f"{shown:,.0f}" if shown >= 10 or shown == 0 else f"{shown:.1f}")


def _depth(depth_mm: float | None, firm: Firm) -> Amount | None:
    if depth_mm is None:
        return None
    shown = max(to_display(depth_mm, "depth", firm.units), 0.0)
    return Amount(shown, amount(depth_mm, "depth", firm, with_unit=False))


def _summary(use: SiteWaterUse, faults: list[Fault], firm: Firm) -> str:
    mended = sum(fault.state == Fault.State.REPAIRED for fault in faults)
    parts = [f"The published schedules gave the site {_with_unit(use.litres, firm)} of water."]
    if use.change_percent is not None:
        more = "more" if use.change_percent >= 0 else "less"
        parts.append(f"That is {abs(use.change_percent):.0f} % {more} than over the same days of last year.")
    if faults:
        parts.append(f"We found {_count(len(faults), 'fault')} and mended {mended}.")
    else:
        parts.append("We found no faults.")
    if use.unknown_zones:
        parts.append(f"Not counted, because their flow is not known: {', '.join(use.unknown_zones)}.")
    return " ".join(parts)


def _count(number: int, word: str) -> str:
    return f"{number} {word}" + ("" if number == 1 else "s")


def _with_unit(litres: float, firm: Firm) -> str:
    volume = _volume(litres, firm)
    return f"{volume.text if volume else '0'} {unit_label('volume', firm.units)}"


def _headlines(
    use: SiteWaterUse, weather: tuple[report.WeatherMonth, ...], firm: Firm
) -> tuple[report.Headline, ...]:
    lines = [report.Headline(_with_unit(use.litres, firm), "water by schedule")]
    if use.metered_l is not None:
        lines.append(report.Headline(_with_unit(use.metered_l, firm), "read at the meter"))
    if use.budget.allowance_l is not None:
        share = 100.0 * use.litres / use.budget.allowance_l
        lines.append(report.Headline(f"{share:.0f} %", "of the year's water allowance"))
    known = [month for month in weather if month.et is not None]
    if known:
        total = sum(month.et.value for month in known if month.et)
        decimals = 0 if total >= 100 else 1
        lines.append(
            report.Headline(
                f"{total:.{decimals}f} {unit_label('depth', firm.units)}",
                "reference ET",
                "" if len(known) == 12 else _count(len(known), "month"),
            )
        )
    return tuple(lines)


def _weather_text(site: Site) -> str:
    if site.weather_station is None:
        return "No weather station is set for this site."
    return (
        "Reference ET is the water a reference lawn would have used; rain is what fell at the station. The normal is "
        "the mean of all years on record there."
    )


def _weather_months(site: Site, year: int, until: dt.date, firm: Firm) -> tuple[report.WeatherMonth, ...]:
    """The months of the season with known weather, each beside its normal; empty without a station."""
    station = site.weather_station
    if station is None:
        return ()
    normals = _normals(site)
    days = DailyWeather.objects.filter(station=station, date__range=(dt.date(year, 1, 1), until))
    sums: dict[int, list[list[float]]] = defaultdict(lambda: [[], []])
    for date, eto, rain in days.values_list("date", "eto_mm", "precipitation_mm"):
        if eto is not None:
            sums[date.month][0].append(eto)
        if rain is not None:
            sums[date.month][1].append(rain)
    return tuple(
        report.WeatherMonth(
            month=MONTHS[month - 1],
            et=_depth(_month_total(sums[month][0], year, month), firm),
            rain=_depth(_month_total(sums[month][1], year, month), firm),
            et_normal=_depth(float(normals.et_mm.mean[month - 1]) if normals else None, firm),
            rain_normal=_depth(float(normals.rain_mm.mean[month - 1]) if normals else None, firm),
        )
        for month in range(1, until.month + 1)
    )


def _normals(site: Site) -> Climatology | None:
    try:
        return station_climatology(site.weather_station) if site.weather_station else None
    except WaterInputError:
        return None


def _month_total(values: list[float], year: int, month: int) -> float | None:
    """Total of a month scaled up for up to three missing days; None for a month that is less known."""
    in_month = calendar.monthrange(year, month)[1]
    if len(values) < in_month - MOST_MISSING_DAYS:
        return None
    return sum(values) * in_month / len(values)


def _water_months(use: SiteWaterUse, until: dt.date, firm: Firm) -> tuple[report.WaterMonth, ...]:
    last_year = use.last_year_by_month
    return tuple(
        report.WaterMonth(
            month=MONTHS[index],
            used=_volume(use.litres_by_month[index], firm),
            last_year=_volume(last_year[index], firm) if last_year else None,
        )
        for index in range(until.month)
    )


def _water_total(use: SiteWaterUse, firm: Firm) -> report.WaterMonth:
    return report.WaterMonth(
        month="Season",
        used=_volume(use.litres, firm),
        budget=_volume(use.budget.allowance_l, firm),
        last_year=_volume(use.last_year_litres, firm),
    )


def _zones(use: SiteWaterUse, firm: Firm) -> tuple[report.ZoneUse, ...]:
    return tuple(
        report.ZoneUse(
            zone=str(zone.number),
            name=zone.name,
            used=_volume(zone.litres, firm),
            last_year=_volume(zone.last_year_litres, firm) if use.last_year_litres is not None else None,
        )
        for zone in use.zones
    )


def _visits(site: Site, year: int) -> tuple[report.VisitDone, ...]:
    done = Visit.objects.filter(site=site, season_year=year, state=Visit.State.FINISHED)
    return tuple(
        report.VisitDone(
            date=day(visit.finished_at.date()) if visit.finished_at else "",
            kind=visit.get_kind_display().capitalize(),
            technician=str(visit.technician or ""),
            summary=_visit_summary(visit),
        )
        for visit in done.select_related("technician").order_by("finished_at")
    )


def _visit_summary(visit: Visit) -> str:
    steps = visit.answers.filter(done=True).count()
    valves = visit.measurements.values("valve").distinct().count()
    found = visit.faults_found.count()
    parts = []
    if steps:
        parts.append(_count(steps, "checklist step") + " done")
    if valves:
        parts.append(_count(valves, "valve") + " measured")
    parts.append(_count(found, "fault") + " found" if found else "no faults found")
    return ", ".join(parts).capitalize() + "."


def _faults(site: Site, year: int) -> list[Fault]:
    """Faults of the season: found in it, mended in it, or still open."""
    in_year = Q(found_at__year=year) | Q(repaired_at__year=year)
    rows = Fault.objects.filter(in_year, site=site).exclude(state=Fault.State.DISMISSED)
    return list(rows.select_related("zone", "valve", "controller", "supply").order_by("found_at"))


def _fault_line(fault: Fault) -> report.FaultLine:
    outcome = "open"
    if fault.state == Fault.State.REPAIRED and fault.repaired_at:
        outcome = f"mended on {day(fault.repaired_at.date())}"
    return report.FaultLine(
        found=day(fault.found_at.date()),
        where=fault_place(fault),
        what=fault.get_kind_display().capitalize(),
        outcome=outcome,
    )


def _recommendations(site: Site, use: SiteWaterUse, firm: Firm) -> tuple[report.Recommendation, ...]:
    """What the register and the season call for; nothing is advised that has no figure or fault behind it."""
    found = [
        report.Recommendation(
            title=f"Mend: {fault.get_kind_display()}, {fault_place(fault)}",
            reason=f"{fault.get_severity_display().capitalize()}; found on {day(fault.found_at.date())}"
            + (f". Part needed: {fault.part_needed}." if fault.part_needed else "."),
        )
        for fault in Fault.objects.open().filter(site=site).select_related("zone", "valve", "controller", "supply")
    ]
    for assembly in site.backflow_assemblies.filter(test_due_on__lte=use.until + dt.timedelta(days=180)):
        found.append(
            report.Recommendation(
                title=f"Backflow assembly test, {assembly}",
                reason=f"Due {day(assembly.test_due_on)}; by a licensed tester as local rules require.",
            )
        )
    poor = site.zones.filter(in_use=True, distribution_uniformity__lt=0.5, figures_origin=Zone.Origin.MEASURED)
    for zone in poor:
        found.append(
            report.Recommendation(
                title=f"Even out zone {zone}",
                reason=f"Its measured distribution uniformity is {zone.distribution_uniformity:.2f}; below 0.50 the "
                "dry spots decide how long it runs.",
            )
        )
    return tuple(found)


def _costs(use: SiteWaterUse, firm: Firm) -> tuple[report.CostLine, ...]:
    if use.cost is None:
        return ()
    return (
        report.CostLine(f"Fixed charge, tariff {use.cost.tariff}", f"{use.cost.fixed:,.2f} {firm.currency}"),
        report.CostLine(f"Water, {_with_unit(use.litres, firm)}", f"{use.cost.water:,.2f} {firm.currency}"),
    )


def _next_dates(site: Site, prepared_on: dt.date) -> tuple[report.NextDate, ...]:
    coming = Visit.objects.to_do().filter(site=site, due_on__gte=prepared_on).order_by("opens_on")[:6]
    return tuple(
        report.NextDate(
            what=visit.get_kind_display().capitalize(),
            when=_when(visit),
        )
        for visit in coming
    )


def _when(visit: Visit) -> str:
    """The day where it was promised, else the window; a repair has only a latest day."""
    if visit.promised and visit.planned_on:
        return day(visit.planned_on)
    if visit.kind == VisitKind.REPAIR:
        return f"by {day(visit.due_on)}"
    return f"between {day(visit.opens_on)} and {day(visit.due_on)}"


def _assumptions(site: Site, year: int) -> tuple[report.Assumption, ...]:
    """The defaults behind the figures: what nobody measured or entered, from the season's last schedule."""
    schedule = (
        SeasonSchedule.objects.filter(site=site, season_year=year)
        .exclude(state=SeasonSchedule.State.DRAFT)
        .order_by("-revision")
        .first()
    )
    if schedule is None:
        return ()
    zones_of: dict[tuple[str, str, str], list[str]] = {}
    for zone in Zone.objects.filter(site=site).order_by("number"):
        explained = explain(schedule, zone, schedule.month)
        for entry in default_inputs(explained) if explained else ():
            zones_of.setdefault(entry, []).append(str(zone.number))
    return tuple(
        report.Assumption(
            what=f"{name}, zone{'s' if len(zones) > 1 else ''} {', '.join(zones)}", value=value, source=note
        )
        for (name, value, note), zones in zones_of.items()
    )


def default_inputs(explained: Explained) -> list[tuple[str, str, str]]:
    """(name, value with unit, note) of the inputs that stand on a default, each once."""
    found: dict[tuple[str, str, str], None] = {}
    for figure in explained.figures:
        for entry in figure.derivation.defaults:
            value = f"{entry.value:g}" if isinstance(entry.value, int | float) else entry.value
            found[(entry.name, f"{value} {entry.unit}".strip(), entry.note or figure.derivation.source)] = None
    return list(found)
