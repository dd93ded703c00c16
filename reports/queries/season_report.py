"""A site's season as the dataclass that the season report prints. Every figure comes from the register."""

import datetime as dt
from collections.abc import Iterator

from django.conf import settings
from django.db.models import Q
from django.urls import reverse

from jobs.models import Fault, Visit, VisitKind
from reports.documents import season_report as report
from reports.queries.letterhead import address_lines, date_at, letterhead_in
from reports.queries.season_weather import SeasonWeather
from reports.queries.service_sheet import sentence
from reports.queries.telling import Telling
from reports.queries.water_bridge import bridge_lines, told_by
from scheduling.core.water.derivation import shown_value
from scheduling.models import SeasonSchedule
from scheduling.queries.explain import Explained, explain
from scheduling.queries.season_replay import NotEnough
from scheduling.queries.site_budget import cost_of_months
from scheduling.queries.water_use import SiteWaterUse, site_water_use
from scheduling.queries.what_if import what_ifs
from sites.core.units import unit_label
from sites.core.writing import number, signed, written_for
from sites.models import Firm, Site, Zone

ADVISED_CHANGES = ("even", "mulch", "drip")
LEAST_SAVING = 0.03  # of the season's water; common practice, no source: less is lost in what is not known
PLACE_OF_FAULT = ("site", "zone", "valve", "controller", "supply")


def season_report_data(site: Site, *, season_year: int, prepared_on: dt.date) -> report.SeasonReport:
    """The report of one site and calendar year, as far as the year has gone on `prepared_on`, in the language of
    its client."""
    telling = Telling.of(Firm.current(), site.client.language)
    with written_for(telling.words.code):
        return _report(site, season_year, prepared_on, telling)


def _report(site: Site, season_year: int, prepared_on: dt.date, telling: Telling) -> report.SeasonReport:
    firm, words = telling.firm, telling.words
    until = min(prepared_on, dt.date(season_year, 12, 31))
    use = site_water_use(site, season_year=season_year, until=until)
    weather = SeasonWeather(site, season_year, until, telling)
    months = weather.months()
    faults = _faults(site, season_year)
    station = site.weather_station
    return report.SeasonReport(
        firm=letterhead_in(firm, words.code),
        reference=words.say("report.reference", site=site.pk, season=season_year),
        client_name=site.client.name,
        site_name=site.name,
        site_address_lines=address_lines(site),
        season=str(season_year),
        period=words.say("report.period", first=telling.date(dt.date(season_year, 1, 1)), until=telling.date(until)),
        prepared_on=telling.date(prepared_on),
        prepared_by=firm.name,
        summary=_summary(use, faults, telling),
        headlines=_headlines(use, months, telling),
        depth_unit=unit_label("depth", firm.units),
        volume_unit=unit_label("volume", firm.units),
        weather_text=words.say("weather.about" if station else "weather.none"),
        weather_curve=weather.curve(),
        weather_months=months,
        weather_source=words.say("weather.station", name=station.name) if station else "",
        weather_estimated=weather.estimated(),
        water_text=words.say("water.basis_metered" if use.bridge.metered else "water.basis"),
        water_months=_water_months(use, until, telling),
        water_total=_water_total(use, telling),
        bridge=bridge_lines(use.bridge, telling),
        zones=_zones(use, telling),
        visits=_visits(site, season_year, telling),
        faults=tuple(_fault_line(fault, telling) for fault in faults),
        recommendations=_recommendations(site, use, telling),
        costs=_costs(use, telling),
        cost_total=telling.money(use.cost.total) if use.cost else "",
        cost_note=words.say("cost.note") if use.cost else "",
        next_dates=_next_dates(site, prepared_on, telling),
        assumptions=_assumptions(site, season_year, telling),
        lang=words.code,
        live_url=f"{settings.PUBLIC_URL}{reverse('reports:client_home')}",
    )


def _summary(use: SiteWaterUse, faults: list[Fault], telling: Telling) -> str:
    words = telling.words
    repaired = sum(fault.state == Fault.State.REPAIRED for fault in faults)
    key = "summary.water" if use.bridge.metered else "summary.expected"
    parts = [words.say(key, volume=telling.volume_text(use.used_l))]
    years = use.against_last_year
    if years is not None:
        key = "summary.years" if years.corrected else "summary.years_raw"
        raw, corrected = signed(years.raw_change_percent), signed(years.change_percent)
        parts.append(words.say(key, raw=raw, corrected=corrected, days=words.count(years.days, "day")))
    if faults:
        parts.append(words.say("summary.faults", faults=words.count(len(faults), "fault"), repaired=repaired))
    else:
        parts.append(words.say("summary.no_faults"))
    if use.unknown_zones:
        parts.append(words.say("summary.unknown", zones=", ".join(use.unknown_zones)))
    return " ".join(parts)


def _headlines(
    use: SiteWaterUse, weather: tuple[report.WeatherMonth, ...], telling: Telling
) -> tuple[report.Headline, ...]:
    words = telling.words
    used = report.Headline(telling.volume_text(use.used_l), words.say("headline.water"), told_by(use.bridge, telling))
    lines = [used]
    if use.budget.allowance_l is not None:
        share = 100.0 * use.used_l / use.budget.allowance_l
        lines.append(report.Headline(f"{number(share)} %", words.say("headline.allowance")))
    known = [month.et.value for month in weather if month.et is not None]
    if known:
        total = sum(known)
        text = number(total, 0 if total >= 100 else 1)
        note = "" if len(known) == 12 else words.count(len(known), "month")
        unit = unit_label("depth", telling.firm.units)
        lines.append(report.Headline(f"{text} {unit}", words.say("headline.et"), note))
    return tuple(lines)


def _water_months(use: SiteWaterUse, until: dt.date, telling: Telling) -> tuple[report.WaterMonth, ...]:
    last_year = use.last_year_by_month_l
    return tuple(
        report.WaterMonth(
            month=telling.words.month(index + 1),
            used=telling.volume(use.used_by_month_l[index]),
            last_year=telling.volume(last_year[index]) if last_year else None,
        )
        for index in range(until.month)
    )


def _water_total(use: SiteWaterUse, telling: Telling) -> report.WaterMonth:
    return report.WaterMonth(
        month=telling.words.say("water.season"),
        used=telling.volume(use.used_l),
        budget=telling.volume(use.budget.allowance_l),
        last_year=telling.volume(None if use.last_year_by_month_l is None else sum(use.last_year_by_month_l)),
    )


def _zones(use: SiteWaterUse, telling: Telling) -> tuple[report.ZoneUse, ...]:
    return tuple(
        report.ZoneUse(
            zone=str(zone.number),
            name=zone.name,
            used=telling.volume(zone.litres),
            last_year=telling.volume(zone.last_year_litres) if use.last_year_by_month_l is not None else None,
        )
        for zone in use.zones
    )


def _visits(site: Site, year: int, telling: Telling) -> tuple[report.VisitDone, ...]:
    done = Visit.objects.filter(site=site, season_year=year, state=Visit.State.FINISHED)
    return tuple(
        report.VisitDone(
            date=telling.date(date_at(visit.finished_at, site)) if visit.finished_at else "",
            kind=telling.visit(visit.kind),
            technician=str(visit.technician or ""),
            summary=_visit_summary(visit, telling),
        )
        for visit in done.select_related("technician").order_by("finished_at")
    )


def _visit_summary(visit: Visit, telling: Telling) -> str:
    words = telling.words
    steps = visit.answers.filter(done=True).count()
    valves = visit.measurements.values("valve").distinct().count()
    found = visit.faults_found.count()
    parts = []
    if steps:
        parts.append(words.say("visits.steps_done", steps=words.count(steps, "step")))
    if valves:
        parts.append(words.say("visits.measured", valves=words.count(valves, "valve")))
    if found:
        parts.append(words.say("visits.found", faults=words.count(found, "fault")))
    else:
        parts.append(words.say("visits.none_found"))
    text = ", ".join(parts)
    return text[:1].upper() + text[1:] + "."


def _faults(site: Site, year: int) -> list[Fault]:
    """Faults of the season: found in it, repaired in it, or still open."""
    in_year = Q(found_at__year=year) | Q(repaired_at__year=year)
    rows = Fault.objects.filter(in_year, site=site).exclude(state=Fault.State.DISMISSED)
    return list(rows.select_related(*PLACE_OF_FAULT).order_by("found_at"))


def _fault_line(fault: Fault, telling: Telling) -> report.FaultLine:
    outcome = telling.words.say("faults.open")
    if fault.state == Fault.State.REPAIRED and fault.repaired_at:
        outcome = telling.words.say("faults.repaired_on", date=telling.date(date_at(fault.repaired_at, fault.site)))
    return report.FaultLine(
        found=telling.date(date_at(fault.found_at, fault.site)),
        where=telling.place(fault),
        what=telling.fault(fault),
        outcome=outcome,
    )


def _recommendations(site: Site, use: SiteWaterUse, telling: Telling) -> tuple[report.Recommendation, ...]:
    """What the register and the season call for; nothing is advised that has no figure or fault behind it."""
    words = telling.words
    open_faults = (
        Fault.objects.open().filter(site=site).select_related("site", "zone", "valve", "controller", "supply")
    )
    found = [_repair(fault, telling) for fault in open_faults]
    for assembly in site.backflow_assemblies.filter(test_due_on__lte=use.until + dt.timedelta(days=180)):
        found.append(
            report.Recommendation(
                title=words.say("advice.backflow", assembly=telling.assembly(assembly)),
                reason=words.say("advice.backflow_due", date=telling.date(assembly.test_due_on)),
            )
        )
    poor = site.zones.filter(in_use=True, distribution_uniformity__lt=0.5, figures_origin=Zone.Origin.MEASURED)
    for zone in poor:
        figure = number(zone.distribution_uniformity, 2)
        found.append(
            report.Recommendation(
                title=words.say("advice.uniformity", zone=zone),
                reason=words.say("advice.uniformity_why", figure=figure, limit=number(0.50, 2)),
            )
        )
    return (*found, *_savings(site, use, telling))


def _savings(site: Site, use: SiteWaterUse, telling: Telling) -> Iterator[report.Recommendation]:
    """Changes that would have saved water in this season so far, none that leaves plants drier.

    Each is worked out by need; its share is taken of the water that was really used.
    """
    try:
        found = what_ifs(site, use.season_year, ADVISED_CHANGES, until=use.until)
    except NotEnough:
        return
    words, used = telling.words, use.used_by_month_l[: use.until.month]
    for change in found:
        share = 1.0 - change.after.litres / change.before.litres if change.before.litres else 0.0
        if share < LEAST_SAVING or not use.used_l or change.after.stress_days > change.before.stress_days:
            continue
        saving = telling.volume_text(share * use.used_l)
        less = cost_of_months(site, [litres * (1.0 - share) for litres in used])
        if use.cost is not None and less is not None:
            saving += f", {telling.money(use.cost.total - less.total)}"
        yield report.Recommendation(
            title=words.say(f"advice.{change.change.key}"),
            reason=words.say(
                "advice.what_if",
                until=telling.date(use.until),
                percent=f"{100.0 * share:.0f}",
                used=telling.volume_text(use.used_l),
            ),
            saving=saving,
        )


def _repair(fault: Fault, telling: Telling) -> report.Recommendation:
    words = telling.words
    what = words.say(f"fault.{fault.kind}")
    reason = words.say(
        "advice.found", severity=telling.severity(fault), date=telling.date(date_at(fault.found_at, fault.site))
    )
    if fault.part_needed:
        reason += " " + sentence(words.say("advice.part", part=fault.part_needed.rstrip(".")))
    return report.Recommendation(
        title=words.say("advice.repair", fault=what, where=telling.place(fault)), reason=reason
    )


def _costs(use: SiteWaterUse, telling: Telling) -> tuple[report.CostLine, ...]:
    if use.cost is None:
        return ()
    words = telling.words
    first, last = words.month(1), words.month(use.until.month)
    water = words.say("cost.water", volume=telling.volume_text(use.cost.volume_l), first=first, last=last)
    return (
        report.CostLine(words.say("cost.fixed", tariff=use.cost.tariff), telling.money(use.cost.fixed)),
        report.CostLine(water, telling.money(use.cost.water)),
    )


def _next_dates(site: Site, prepared_on: dt.date, telling: Telling) -> tuple[report.NextDate, ...]:
    coming = Visit.objects.to_do().filter(site=site, due_on__gte=prepared_on).order_by("opens_on")[:6]
    return tuple(report.NextDate(what=telling.visit(visit.kind), when=_when(visit, telling)) for visit in coming)


def _when(visit: Visit, telling: Telling) -> str:
    """The day where it was promised, else the window; a repair has only a latest day."""
    if visit.promised and visit.planned_on:
        return telling.date(visit.planned_on)
    due = telling.date(visit.due_on)
    if visit.kind == VisitKind.REPAIR:
        return telling.words.say("next.by", date=due)
    return telling.words.say("next.between", first=telling.date(visit.opens_on), last=due)


def _assumptions(site: Site, year: int, telling: Telling) -> tuple[report.Assumption, ...]:
    """The defaults behind the figures: what nobody measured or entered, from the season's last schedule."""
    words = telling.words
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
        for entry in default_inputs(explained, telling.firm.units) if explained else ():
            zones_of.setdefault(entry, []).append(str(zone.number))
    return tuple(
        report.Assumption(
            what=words.say(
                "assumed.zones" if len(zones) > 1 else "assumed.zone", what=words.phrase(name), zones=", ".join(zones)
            ),
            value=value,
            source=words.phrase(note),
        )
        for (name, value, note), zones in zones_of.items()
    )


def default_inputs(explained: Explained, units: str) -> list[tuple[str, str, str]]:
    """(name, value with unit, note) of the inputs that stand on a default, each once."""
    found: dict[tuple[str, str, str], None] = {}
    for figure in explained.figures:
        for entry in figure.derivation.defaults:
            value = shown_value(entry.value, entry.unit, units)
            found[(entry.name, value, entry.note or figure.derivation.source)] = None
    return list(found)
