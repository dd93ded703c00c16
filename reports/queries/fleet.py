"""A season of all sites in figures: visits on time, faults by age, repeats, water, driving."""

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from zoneinfo import ZoneInfo

from django.utils import timezone

from jobs.models import DayRoute, Fault, Visit, VisitKind
from reports.documents.fleet import Figure, Fleet, Table
from reports.queries.letterhead import day, letterhead
from reports.queries.service_sheet import fault_place
from scheduling.queries.water_use import AgainstLastYear, Bridge, SiteWaterUse, site_water_use
from sites.core.units import to_display, unit_label
from sites.core.writing import NOTHING, number, percent, signed
from sites.models import Firm, Site

LITRES_PER_M3 = 1000.0
# A fault that comes back this soon after its repair counts as a repeat.
REPEAT_DAYS = 730
AGES = ((5, "under 5 years"), (10, "5 to 9 years"), (15, "10 to 14 years"), (1000, "15 years and more"))
AGE_NOT_KNOWN = "age not known"
Volume = Callable[[float | None], float | None]  # litres in the firm's unit of volume


def fleet_data(*, season_year: int, today: dt.date) -> Fleet:
    """The summary of one season as far as it has gone on `today`."""
    firm = Firm.current()
    visits, on_time = _visits(season_year, today)
    faults = list(
        Fault.objects.filter(found_at__year=season_year)
        .exclude(state=Fault.State.DISMISSED)
        .select_related("site", "valve", "zone__valve", "controller", "supply")
        .order_by("found_at")
    )
    repaired = sum(fault.state == Fault.State.REPAIRED for fault in faults)
    repeats = _repeats(faults)
    water, saved = _water(season_year, today, firm)
    driving, per_visit = _driving(season_year)
    return Fleet(
        firm=letterhead(firm),
        season=str(season_year),
        made=day(today),
        figures=(
            on_time,
            Figure(str(len(faults)), "faults found", f"{repaired} repaired"),
            Figure(str(len(repeats.rows)), "repeat faults", f"within {REPEAT_DAYS // 365} years of a repair"),
            *saved,
            per_visit,
        ),
        tables=(visits, _faults_by_age(faults), repeats, *water, driving),
    )


def _visits(year: int, today: dt.date) -> tuple[Table, Figure]:
    """Of the visits that were due: done already, or their last day is past."""
    rows, all_due, all_on_time = [], 0, 0
    seasonal = Visit.objects.filter(season_year=year).exclude(state=Visit.State.CANCELLED)
    for kind in VisitKind:
        of_kind = list(seasonal.filter(kind=kind).values_list("state", "due_on", "finished_at", "site__time_zone"))
        if not of_kind:
            continue
        done = [(due, finished, zone) for state, due, finished, zone in of_kind if state == Visit.State.FINISHED]
        on_time = sum(finished is not None and _local_day(finished, zone) <= due for due, finished, zone in done)
        overdue = sum(state != Visit.State.FINISHED and due < today for state, due, _, _ in of_kind)
        due_or_done = len(done) + overdue
        share = 100.0 * on_time / due_or_done if due_or_done else None
        rows.append((kind.label.capitalize(), len(of_kind), len(done), on_time, len(done) - on_time, overdue, share))
        all_due, all_on_time = all_due + due_or_done, all_on_time + on_time
    share_text = percent(all_on_time / all_due) if all_due else NOTHING
    table = Table(
        "visits",
        "Visits done on time",
        "On time: finished on or before the last day of its window, of all that are done or overdue. Overdue: not "
        "finished, and that day is past.",
        ("Kind of visit", "Visits", "Done", "On time", "Late", "Overdue", "On time, %"),
        tuple(rows),
        "No visit was made for this season.",
    )
    return table, Figure(share_text, "visits on time", f"{all_on_time} of {all_due} done or overdue")


def _local_day(moment: dt.datetime, zone: str) -> dt.date:
    return timezone.localtime(moment, ZoneInfo(zone)).date()


def _faults_by_age(faults: list[Fault]) -> Table:
    """Faults by kind and by the age of the valve they were found at, where one is named."""
    names = [name for _, name in AGES] + [AGE_NOT_KNOWN]
    counted: dict[str, Counter[str]] = defaultdict(Counter)
    for fault in faults:
        counted[fault.get_kind_display().capitalize()][_age_of(fault)] += 1
    rows: list[tuple[str | int, ...]] = [
        (kind, *(counts[name] for name in names), counts["no valve"], sum(counts.values()))
        for kind, counts in sorted(counted.items(), key=lambda item: (-sum(item[1].values()), item[0]))
    ]
    return Table(
        "faults",
        "Faults by kind and age of valve",
        "The valve named with the fault, or that of its zone; its age on the day the fault was found.",
        ("Kind of fault", *[name.capitalize() for name in names], "No valve named", "All"),
        tuple(rows),
        "No fault was found this season.",
    )


def _age_of(fault: Fault) -> str:
    valve = fault.valve or (fault.zone.valve if fault.zone else None)
    if valve is None:
        return "no valve"
    if valve.installed_on is None:
        return AGE_NOT_KNOWN
    years = (fault.found_at.date() - valve.installed_on).days / 365.25
    return next(name for limit, name in AGES if years < limit)


def _thing(fault: Fault) -> tuple:
    return (fault.site_id, fault.kind, fault.valve_id, fault.zone_id, fault.controller_id, fault.supply_id)


def _repeats(faults: list[Fault]) -> Table:
    """Faults of the season that had been repaired at the same thing not long before."""
    since = min((fault.found_at for fault in faults), default=timezone.now()) - dt.timedelta(days=REPEAT_DAYS)
    repaired: dict[tuple, list[tuple[int, dt.datetime]]] = defaultdict(list)
    for earlier in Fault.objects.filter(state=Fault.State.REPAIRED, repaired_at__gte=since).order_by("repaired_at"):
        assert earlier.repaired_at is not None  # the database keeps no repaired one without it
        repaired[_thing(earlier)].append((earlier.pk, earlier.repaired_at))
    rows = []
    for fault in faults:
        named = (fault.valve_id, fault.zone_id, fault.controller_id, fault.supply_id)
        before = [at for pk, at in repaired[_thing(fault)] if pk != fault.pk and at <= fault.found_at]
        recent = [at for at in before if fault.found_at - at <= dt.timedelta(days=REPEAT_DAYS)]
        if any(named) and recent:
            repaired_at = recent[-1]
            rows.append(
                (
                    fault.site.name,
                    fault_place(fault),
                    fault.get_kind_display().capitalize(),
                    day(repaired_at.date()),
                    day(fault.found_at.date()),
                    (fault.found_at - repaired_at).days,
                )
            )
    return Table(
        "repeats",
        "Repeat faults",
        "The same kind of fault at the same valve, zone, controller or supply after a repair.",
        ("Site", "Where", "Fault", "Repaired", "Found again", "Days between"),
        tuple(rows),
        "No fault came back.",
    )


def _water(year: int, today: dt.date, firm: Firm) -> tuple[tuple[Table, ...], tuple[Figure, ...]]:
    until = min(today, dt.date(year, 12, 31))
    uses: list[tuple[Site, SiteWaterUse]] = [
        (site, site_water_use(site, season_year=year, until=until))
        for site in Site.objects.current().select_related("tariff", "weather_station").order_by("name")
    ]
    unit = unit_label("volume", firm.units)

    def volume(litres: float | None) -> float | None:
        return None if litres is None else round(to_display(litres / LITRES_PER_M3, "volume", firm.units), 1)

    compared = [(site.name, use.against_last_year) for site, use in uses if use.against_last_year]
    compared.sort(key=lambda pair: (pair[1].saved_l is None, -(pair[1].saved_l or 0.0)))
    over = [
        (100.0 * use.used_l / allowance_l, site.name, volume(use.used_l), volume(allowance_l))
        for site, use in uses
        if (allowance_l := use.budget.allowance_l) and use.used_l > allowance_l
    ]
    over.sort(key=lambda row: -row[0])
    figures = (
        *changes_since_last_year([years for _, years in compared], len(uses), unit, volume),
        Figure(str(len(over)), "sites over budget", "of the year's allowance"),
    )
    tables = (
        Table(
            "bridge",
            "From planned to used water",
            "All sites together: the schedules as published, what could not run of them, and what the meters show. A "
            "site without a meter counts as used what is expected of it.",
            ("", unit),
            tuple(_bridge_rows([use.bridge for _, use in uses], volume)),
            "No site was watered.",
        ),
        year_table(compared, unit, volume),
        Table(
            "budget",
            "Sites over budget",
            "The water used so far against the allowance of the whole year.",
            ("Site", f"Used, {unit}", f"Allowance, {unit}", "Used, %"),
            tuple((*words, used_percent) for used_percent, *words in over),
            "No site has used more than its allowance.",
        ),
    )
    return tables, figures


def changes_since_last_year(
    compared: Sequence[AgainstLastYear], sites: int, unit: str, volume: Volume
) -> tuple[Figure, Figure]:
    """All compared sites together: the change as it was, and what is saved in this year's weather."""
    as_it_was, corrected = "against last year, as it was", "against last year, corrected by weather"
    if not compared:
        nothing = "nothing to compare yet"
        return Figure(NOTHING, as_it_was, nothing), Figure(NOTHING, corrected, nothing)
    this_l, last_l = (sum(values) for values in zip(*[(one.this_l, one.last_l) for one in compared], strict=True))
    change = Figure(
        f"{signed(100.0 * (this_l / last_l - 1.0))} %",
        as_it_was,
        f"{number(volume(this_l) or 0.0)} against {number(volume(last_l) or 0.0)} {unit} on the days known in both "
        f"years, {len(compared)} of {sites} sites compared",
    )
    told = [(one.this_l, one.saved_l) for one in compared if one.saved_l is not None]
    if not told:
        return change, Figure(NOTHING, corrected, "no weather to correct by")
    used, saved = (sum(values) for values in zip(*told, strict=True))
    less = "less" if saved >= 0 else "more"
    return change, Figure(
        f"{number(abs(volume(saved) or 0.0))} {unit}",
        f"{less} than last year's use would be in this year's weather",
        f"{signed(-100.0 * saved / (used + saved))} % corrected by weather, {len(told)} of {sites} sites",
    )


def year_table(compared: Sequence[tuple[str, AgainstLastYear]], unit: str, volume: Volume) -> Table:
    rows = [
        (
            name,
            volume(years.this_l),
            volume(years.last_l),
            years.raw_change_percent,
            years.corrected.normalised_change_percent if years.corrected else None,
            volume(years.saved_l),
            years.days,
            years.metered_days,
        )
        for name, years in compared
    ]
    return Table(
        "water",
        "Water against last year",
        "Water used on the days known in both years, by the meter on days it tells in both, as expected on the "
        "others. Change: as it was. Corrected: by weather. Saved corrected: by how much it is less than last year's "
        "use would be in this year's weather, that is put to this year's ET less rain. Minus: more.",
        (
            "Site",
            f"Used, {unit}",
            f"Last year, {unit}",
            "Change, %",
            "Corrected change, %",
            f"Saved corrected, {unit}",
            "Days compared",
            "Metered days",
        ),
        tuple(rows),
        "Nothing to compare yet: no site has a season of last year.",
    )


def _bridge_rows(bridges: Sequence[Bridge], volume: Volume) -> Iterator[tuple[str, float | None]]:
    """The same lines as a site's bridge, summed."""
    metered = sum(bridge.metered for bridge in bridges)
    unmeasured = sum(len(bridge.unmeasured) for bridge in bridges)
    lines = (
        ("Planned: as published", sum(bridge.planned_l for bridge in bridges)),
        ("Sites off", -sum(bridge.off_l for bridge in bridges)),
        ("Paused", -sum(bridge.paused_l for bridge in bridges)),
        ("Set at the controller on another day than published", sum(one.set_otherwise_l for one in bridges)),
        ("No water: zones stopped by faults", -sum(bridge.stopped_l for bridge in bridges)),
        ("Expected", sum(bridge.expected_l for bridge in bridges)),
        ("Ran beside the schedule, as measured in a night", sum(bridge.added_l for bridge in bridges)),
        (
            f"Not explained, {unmeasured} {'leak' if unmeasured == 1 else 'leaks'} not measured ({metered} of "
            f"{len(bridges)} sites have a meter)",
            sum(bridge.rest_l for bridge in bridges),
        ),
        ("Used", sum(bridge.used_l for bridge in bridges)),
    )
    return ((name, volume(litres)) for name, litres in lines)


def _driving(year: int) -> tuple[Table, Figure]:
    """Minutes driven on planned routes, per visit on their days."""
    routes = DayRoute.objects.filter(date__year=year).select_related("technician").order_by("technician")
    visits = Counter(
        Visit.objects.filter(planned_on__year=year)
        .exclude(state=Visit.State.CANCELLED)
        .values_list("technician", "planned_on")
    )
    by_person: dict[str, list[float]] = defaultdict(lambda: [0.0, 0.0, 0.0, 0.0])
    for route in routes:
        stops = visits[route.technician_id, route.date]
        if stops:
            sums = by_person[str(route.technician)]
            for index, value in enumerate((1, stops, route.drive_min, route.drive_km)):
                sums[index] += value
    rows = [
        (name, int(days), int(stops), minutes, km, minutes / stops)
        for name, (days, stops, minutes, km) in by_person.items()
    ]
    stops, minutes = sum(row[2] for row in rows), sum(row[3] for row in rows)
    text = f"{minutes / stops:.0f} min" if stops else NOTHING
    table = Table(
        "driving",
        "Drive time per visit",
        "From the planned day routes; days without a computed route are left out.",
        ("Technician", "Days", "Visits", "Minutes driven", "km driven", "Minutes a visit"),
        tuple(rows),
        "No day route was computed this season.",
    )
    return table, Figure(text, "driven per visit", f"{int(stops)} visits")
