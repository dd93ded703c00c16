import csv
import datetime as dt
import io

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from django.test import override_settings

from config.demo import weather
from config.demo.field_tests import LEAK_TESTS, leak_test_evening
from config.demo.meters import make_readings
from config.demo.people import rota
from config.demo.places import PATCHES
from config.demo.seasons import read_stops
from config.demo.sketches import PLANTED, Mistake, sketch
from config.demo.stories import Repair, Trouble, ValveStory
from jobs.core.routing.travel import Point, distance_m
from jobs.models import DayRoute, Fault, PriceItem, Proposal, SeasonWindow, ValveMeasurement, Visit, WorkRecord
from jobs.queries.doubts import lacking_skills
from jobs.queries.planning import planning_technicians
from jobs.queries.skills import SkillNeeds
from reports.models import Delivery
from scheduling.models import CatchCanTest, DailyWeather, ForecastDay, SeasonSchedule, ZoneMonth
from scheduling.queries.catch_cans import worked_out
from scheduling.queries.meter_check import meter_check
from scheduling.queries.programs import watering_rule
from sites.core.electrical import Coil, transformer_load
from sites.core.told import told
from sites.models import AuditEntry, Client, Controller, MeterReading, Site, User, Valve, Zone
from tests import factories

TODAY = dt.date(2026, 10, 14)
ANOTHER_DAY = dt.date(2027, 6, 26)  # a Saturday, in another season


def run(today=TODAY, **options):
    out = io.StringIO()
    call_command("demo", sites=6, today=today, stdout=out, **options)
    return out.getvalue()


def everything():
    """What a person would compare between two installations: words and figures, no keys and no clock."""
    return {
        "sites": list(Site.objects.order_by("pk").values_list("name", "address", "latitude", "client__name")),
        "zones": list(Zone.objects.order_by("pk").values_list("name", "area_m2", "flow_l_min", "soil", "emitter")),
        "months": list(
            ZoneMonth.objects.order_by("pk").values_list("zone__number", "month", "run_time_min", "water_l")
        ),
        "visits": list(
            Visit.objects.order_by("pk").values_list(
                "uuid", "kind", "state", "planned_on", "technician__username", "arrives_at", "finished_at"
            )
        ),
        "measurements": list(
            ValveMeasurement.objects.order_by("pk").values_list("uuid", "coil_resistance_ohm", "voltage_v", "closes")
        ),
        "faults": list(Fault.objects.order_by("pk").values_list("uuid", "kind", "state", "found_at")),
        "proposals": [
            (row.number, row.site.name, row.state, row.valid_until, row.total, row.answered_by, row.answered_at)
            for row in Proposal.objects.order_by("number")
        ],
        "work": [(row.visit.uuid, row.labour_min, row.total) for row in WorkRecord.objects.all()],
        "counters": list(MeterReading.objects.order_by("pk").values_list("read_on", "counter")),
        "cans": list(CatchCanTest.objects.values_list("zone__site__name", "tested_on", "catches_ml")),
        "forecast": list(
            ForecastDay.objects.values_list("date", "precipitation_mm", "temp_max_c", "temp_min_c", "eto_mm")
        ),
    }


def leak_tests(today):
    """What the meter pages of the two sites with a read of the night say."""
    checks = [meter_check(Site.objects.order_by("pk")[place], today) for place in LEAK_TESTS]
    return [(night.first.read_on, night.leaks, night.remark) for check in checks for night in check.nights]


@pytest.mark.django_db
def test_a_database_with_other_data_is_refused_and_left_alone():
    factories.ClientFactory(name="Somebody real")
    with pytest.raises(CommandError, match="already has data of its own"):
        run()
    assert list(Client.objects.values_list("name", flat=True)) == ["Somebody real"]
    assert "nothing changed" in run(if_empty=True)
    assert not Site.objects.exists()


@pytest.mark.django_db
def test_too_few_sites_for_the_planted_mistakes_are_refused():
    with pytest.raises(CommandError, match="at least 6 sites"):
        call_command("demo", sites=5)
    assert not User.objects.exists()


@pytest.fixture(scope="module")
def demo(django_db_setup, django_db_blocker, tmp_path_factory):
    """Loads the firm three times: twice for the same day, in between for another day. The last one stays."""
    seen = {}
    fast = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    with (
        django_db_blocker.unblock(),
        override_settings(MEDIA_ROOT=tmp_path_factory.mktemp("media"), PASSWORD_HASHERS=fast),
        transaction.atomic(),
    ):
        for name, today in (("first", TODAY), ("other day", ANOTHER_DAY)):
            with transaction.atomic():
                run(today)
                seen[name] = everything()
                seen[f"nights of {name}"] = leak_tests(today)
                transaction.set_rollback(True)
        seen["words"] = run()
        seen["again"] = everything()
        yield seen
        transaction.set_rollback(True)


@pytest.mark.slow
@pytest.mark.django_db
def test_the_same_seed_and_day_make_the_same_firm(demo):
    assert demo["first"] == demo["again"]
    assert len(demo["first"]["measurements"]) > 200
    assert len(demo["first"]["counters"]) > 50


@pytest.mark.django_db
def test_one_proposal_waits_one_is_accepted_and_a_repair_has_its_work_record(demo):
    assert [row[2] for row in demo["again"]["proposals"]] == ["sent", "accepted"]
    assert PriceItem.objects.filter(active=True).count() >= 8
    ordered = Proposal.objects.get(state="accepted")
    assert (ordered.visit.kind, ordered.visit.state, ordered.visit.site) == ("repair", "open", ordered.site)
    assert Proposal.objects.get(state="sent").valid_until > TODAY
    work = WorkRecord.objects.get()
    assert work.visit.kind == "repair"
    assert work.labour_min > 0
    assert not work.lacks_prices
    assert set(Delivery.objects.values_list("state", flat=True)) == {"sent"}


def test_the_password_is_told_at_the_end(demo):
    assert "water-the-garden-26" in demo["words"]
    assert "tech3" in demo["words"]


@pytest.mark.django_db
def test_a_second_run_changes_nothing_and_says_so(demo):
    for options in ({}, {"if_empty": True}, {"seed": 7}):
        assert "nothing changed" in run(**options)
    assert everything() == demo["again"]
    assert AuditEntry.objects.filter(verb="demo_loaded").count() == 1


@pytest.mark.django_db
def test_another_day_moves_the_dates_and_keeps_the_sites(demo):
    one, other = demo["again"], demo["other day"]
    assert one["sites"] == other["sites"]
    for seen, today in ((one, TODAY), (other, ANOTHER_DAY)):
        finished = [planned for _, _, state, planned, *_ in seen["visits"] if state == "finished"]
        planned = [planned for _, _, state, planned, *_ in seen["visits"] if state == "planned"]
        assert max(finished) < today
        assert min(planned) == today
        assert today.year - 1 in {day.year for day in finished}
        assert max(read_on for read_on, _ in seen["counters"]) <= today


@pytest.mark.django_db
def test_coming_days_have_routes_in_order_and_within_opening_hours(demo):
    routes = DayRoute.objects.filter(date__in=[TODAY, TODAY + dt.timedelta(days=1)])
    assert routes.count() >= 2
    for route in routes:
        visits = list(Visit.objects.filter(technician=route.technician, planned_on=route.date).order_by("position"))
        assert [visit.position for visit in visits] == list(range(1, len(visits) + 1))
        for before, after in zip(visits, visits[1:], strict=False):
            assert before.leaves_at < after.arrives_at
        for visit in visits:
            assert visit.site.opens_at <= visit.arrives_at < visit.leaves_at <= visit.site.closes_at
            assert visit.planned_on.weekday() in visit.site.open_weekdays


@pytest.mark.django_db
def test_pumps_are_served_by_those_who_may(demo):
    """Past and coming days; a check in summer needs no skill."""
    seasonal = Visit.objects.exclude(kind="mid_season").filter(technician__isnull=False)
    visits = list(seasonal.select_related("site"))
    needs, people = SkillNeeds.of(visits), {user.pk: user for user in planning_technicians()}
    served = [visit for visit in visits if "Pumps and mains power" in needs.of_visit(visit)]
    assert served
    assert [visit for visit in visits if lacking_skills(visit, people[visit.technician_id], needs)] == []


@pytest.mark.django_db
def test_no_technician_was_at_two_places_at_once(demo):
    for technician in User.objects.filter(role="technician"):
        visits = Visit.objects.filter(technician=technician, state="finished").order_by("planned_on", "arrives_at")
        for before, after in zip(visits, visits[1:], strict=False):
            assert (before.planned_on, before.leaves_at) <= (after.planned_on, after.arrives_at)


@pytest.mark.django_db
def test_the_weather_is_measured_once_and_replayed_up_to_yesterday(demo):
    measured = DailyWeather.objects.filter(station__code="SEATTLE-2012-2015").order_by("date")
    replayed = DailyWeather.objects.filter(station__code="DEMO-YEAR").order_by("date")
    assert (measured.first().date, measured.last().date) == (dt.date(2012, 1, 1), dt.date(2015, 12, 31))
    # First row of the file: 2012/01/01,0.0,12.8,5.0,4.7
    assert (measured.first().precipitation_mm, measured.first().temp_max_c, measured.first().wind_m_s) == (
        0,
        12.8,
        4.7,
    )
    assert replayed.last().date == TODAY - dt.timedelta(days=1)
    assert "replayed, not measured" in replayed.first().station.name
    assert replayed.last().temp_max_c == measured.get(date=dt.date(2015, 10, 13)).temp_max_c
    whole = replayed.filter(temp_max_c__isnull=False)
    assert not whole.filter(eto_mm=None).exists()
    assert whole.count() in (1460, 1461)
    # Before the replay there are minimum temperatures only, without a gap: a record of 26 years.
    days = (replayed.last().date - replayed.first().date).days + 1
    assert replayed.filter(temp_min_c__isnull=False).count() == days
    assert days in (9496, 9497)


@pytest.mark.parametrize("today", [dt.date(2028, 2, 29), dt.date(2027, 3, 1), dt.date(2026, 1, 1)])
def test_the_replay_has_every_day_of_four_years(today):
    rows = list(csv.DictReader(io.StringIO(weather.replayed_text(weather.measured_text(), today))))
    days = [dt.datetime.strptime(row["date"], "%Y/%m/%d").replace(tzinfo=dt.UTC).date() for row in rows]
    assert days[-1] == today - dt.timedelta(days=1)
    assert days == [days[0] + dt.timedelta(days=n) for n in range(len(days))]
    assert len(days) in (1460, 1461)


@pytest.mark.django_db
def test_the_pump_without_overlap_is_there_and_the_other_pump_can_overlap(demo):
    planted = Controller.objects.get(site__name=PLANTED[Mistake.PUMP_WITHOUT_OVERLAP])
    assert planted.supply.kind == "pump"
    assert planted.one_valve_at_a_time
    sound = Controller.objects.get(site__name="Rook Meadow sports ground")
    assert sound.supply.kind == "pump"
    assert not sound.one_valve_at_a_time


@pytest.mark.django_db
def test_two_programs_collide_only_where_it_was_planted(demo):
    name = PLANTED[Mistake.COLLIDING_PROGRAMS]
    for schedule in SeasonSchedule.objects.filter(state="published"):
        collided = False
        programs = list(schedule.programs.all())
        for first in programs:
            start = dt.datetime.combine(TODAY, first.starts_at)
            end = start + dt.timedelta(minutes=sum(step.run_time_min for step in first.steps.all()))
            for second in programs:
                same_days = set(first.weekdays) & set(second.weekdays)
                inside = start < dt.datetime.combine(TODAY, second.starts_at) < end
                if first.controller_id == second.controller_id and same_days and inside:
                    collided = True
        assert collided == (schedule.site.name == name), schedule


@pytest.mark.django_db
def test_the_short_window_cannot_hold_its_programs(demo):
    for schedule in SeasonSchedule.objects.filter(month=7):
        too_short = any("do not fit into the window" in warning for warning in schedule.warnings)
        assert too_short == (schedule.site.name == PLANTED[Mistake.SHORT_WINDOW]), schedule
    rule = watering_rule(Site.objects.get(name=PLANTED[Mistake.SHORT_WINDOW]))
    assert (rule.window_start_min, rule.window_end_min) == (300, 345)


@pytest.mark.django_db
def test_only_the_planted_transformer_is_overloaded(demo):
    for controller in Controller.objects.all():
        valves = list(controller.valves.all())
        master = [valve for valve in valves if valve.is_master]
        worst = max((valve for valve in valves if not valve.is_master), key=lambda valve: valve.coil_holding_va)
        coils = [Coil(valve.coil_holding_va) for valve in [worst, *master]]
        load = transformer_load(coils, controller.transformer_va)
        assert load.margin_kept != (controller.site.name == PLANTED[Mistake.OVERLOADED_TRANSFORMER]), controller.site


@pytest.mark.django_db
def test_only_the_planted_terminal_has_two_valves_and_reads_about_half(demo):
    used = {}
    for valve in Valve.objects.all():
        used.setdefault((valve.controller.site.name, valve.controller_id, valve.terminal), []).append(valve)
    double = {key[0]: valves for key, valves in used.items() if len(valves) > 1}
    assert list(double) == [PLANTED[Mistake.DOUBLE_TERMINAL]]
    for valve in double[PLANTED[Mistake.DOUBLE_TERMINAL]]:
        sound = valve.measurements.exclude(open_circuit=True).exclude(coil_resistance_ohm__lt=5)
        assert all(row.coil_resistance_ohm < 0.7 * valve.coil_resistance_ohm for row in sound)


@pytest.mark.django_db
def test_the_register_is_plausible_where_nothing_was_planted(demo):
    assert set(Site.objects.values_list("supplies__kind", flat=True)) == {"mains", "well", "pump", "gravity"}
    for zone in Zone.objects.exclude(flow_l_min=None).select_related("valve__controller__supply"):
        assert zone.flow_l_min == pytest.approx(zone.application_rate_mm_h * zone.area_m2 / 60, abs=0.06)
        assert zone.flow_l_min <= zone.valve.controller.supply.flow_available_l_min
    for valve in Valve.objects.all():
        assert 20 <= valve.coil_resistance_ohm <= 60


@pytest.mark.django_db
def test_windows_name_the_frost_they_come_from(demo):
    windows = SeasonWindow.objects.filter(kind__in=("startup", "winterisation"))
    assert {window.season_year for window in windows} == {2025, 2026, 2027}
    series = {"startup": "Seattle 2012-2015", "winterisation": "Demo year: Seattle 2012-2015 replayed"}
    assert all(series[window.kind] in window.reason for window in windows)


@pytest.mark.django_db
def test_each_site_is_due_for_winterisation_by_its_own_frost(demo):
    window = SeasonWindow.objects.get(season_year=2026, kind="winterisation")
    rows = Visit.objects.filter(season_year=2026, kind="winterisation", state__in=("open", "planned"))
    others = [row for row in rows.select_related("site") if row.site_id != hollow().pk]
    dates = [row.due_on for row in sorted(others, key=lambda row: row.site.elevation_m)]
    assert dates == sorted(dates, reverse=True)
    assert rows.get(site=hollow()).due_on < min(dates) <= max(dates) <= window.due_on
    in_hollow = rows.get(site=hollow())
    assert in_hollow.window_reason.endswith(", 7 days earlier: cold hollow by the creek")
    assert "10 % chance of −2.2 °C by" in told(in_hollow.window_reason, "metric")


def hollow():
    return Site.objects.get(visit_terms__frost_days=7)


@pytest.mark.django_db
def test_a_leak_runs_through_the_meter_on_top_of_the_schedule(demo):
    stops = read_stops()
    sound = factories.SiteFactory(name="Sound")
    leaking = factories.SiteFactory(name=PLANTED[Mistake.LEAK])
    used = {}
    for site in (sound, leaking):
        meter = factories.MeterFactory(site=site)
        stop = type(stops[0])(**{**vars(stops[0]), "site_id": site.pk, "name": site.name})
        make_readings(
            seed=1, today=TODAY, stops=[stop], read_by=User.objects.get(username="tech1"), progress=lambda *_: None
        )
        counters = list(meter.readings.order_by("read_on").values_list("counter", flat=True))
        used[site.name] = float(counters[-1] - counters[0])
    # Without a schedule nothing runs but the leak: 2.4 m3 a day from 10 July to 1 October.
    assert used == {"Sound": 0, PLANTED[Mistake.LEAK]: pytest.approx(2.4 * 83)}


@pytest.mark.django_db
def test_one_night_tells_a_small_leak_and_another_tells_none(demo):
    for name, evening in (("first", dt.date(2026, 10, 8)), ("other day", dt.date(2027, 6, 23))):
        assert demo[f"nights of {name}"] == [(evening, False, ""), (evening, True, "")]
    assert leak_tests(TODAY) == demo["nights of first"]


@pytest.mark.parametrize("year", [2026, 2028])
def test_the_night_of_the_leak_test_lies_before_any_day_and_on_no_first_of_a_month(year):
    for number in range(366):
        today = dt.date(year, 1, 1) + dt.timedelta(days=number)
        evening = leak_test_evening(today)
        morning = evening + dt.timedelta(days=1)
        assert morning < today
        assert 1 not in (evening.day, morning.day)
        assert (4, 19) <= (evening.month, evening.day) <= (10, 8)


@pytest.mark.django_db
def test_the_catch_cans_give_a_rate_near_the_design_and_less_even(demo):
    test = CatchCanTest.objects.get()
    found = worked_out(test)
    assert found.rate_mm_h == pytest.approx(test.zone.application_rate_mm_h, rel=0.2)
    assert 0.3 < found.du_lq < test.zone.distribution_uniformity
    assert test.taken_over_at is None


@pytest.mark.django_db
def test_the_forecast_covers_the_coming_days_and_this_weeks_drafts_follow_it(demo):
    assert [day[0] for day in demo["again"]["forecast"]] == [TODAY + dt.timedelta(days=n) for n in range(5)]
    rules = {draft.basis["rule"] for draft in SeasonSchedule.objects.filter(state="draft")}
    assert rules == {
        "the soil's daily balance up to yesterday and the coming week, 5 of its days by the forecast entered"
    }


@pytest.mark.parametrize("today", [dt.date(2026, 12, 30), dt.date(2028, 2, 27), dt.date(2027, 2, 26)])
def test_the_replay_goes_on_over_year_end_and_leap_day(today):
    days = weather.coming_days(today, 5)
    assert [day for day, *_ in days] == [today + dt.timedelta(days=n) for n in range(5)]
    assert all(cold <= warm and rain >= 0 for _, rain, warm, cold in days)


def test_two_thousand_sites_have_their_own_names_and_lie_within_fifty_kilometres():
    names = [sketch(1, index).name for index in range(2000)]
    assert len(set(names)) == 2000
    south, north = min(p.south for p in PATCHES), max(p.north for p in PATCHES)
    west, east = min(p.west for p in PATCHES), max(p.east for p in PATCHES)
    assert 35_000 < distance_m(Point(south, west), Point(north, west)) < 50_000
    assert 25_000 < distance_m(Point(south, west), Point(south, east)) < 50_000


@pytest.mark.parametrize("day", range(7))
def test_the_rota_works_today_and_tomorrow_on_five_days_in_all(day):
    today = dt.date(2026, 11, 23) + dt.timedelta(days=day)
    days = rota(today)
    assert {today.weekday(), (today.weekday() + 1) % 7} <= set(days)
    assert len(days) == 5


def test_a_drifting_coil_is_watched_then_a_fault_then_sound_again():
    story = ValveStory(Trouble.DRIFT, 1, Repair.LATER)
    assert [round(story.extra_share(visit), 2) for visit in range(5)] == [0, 0.15, 0.30, 0.45, 0]
    assert story.found_at == 3
