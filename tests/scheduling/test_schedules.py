import datetime as dt
import threading

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from scheduling.actions.pauses import end_pause, pause
from scheduling.actions.programs import StepChange, edit_program, move_step
from scheduling.actions.schedules import ScheduleError, compute_draft, compute_many, publish, record_applied
from scheduling.models import AppliedSchedule, SeasonSchedule, WateringPause, ZoneMonth
from scheduling.queries.water_use import site_water_use
from scheduling.tasks import compute_all_schedules
from sites.models import AuditEntry, Firm, WaterSupply
from tests import factories

JULY = dt.date(2015, 7, 15)


@pytest.fixture
def draft(seattle, site):
    return compute_draft(site=site, today=JULY, by=None, month=7)


def as_stored(schedule):
    return (
        list(schedule.programs.order_by("pk").values("pk", "name", "starts_at", "weekdays")),
        list(schedule.zone_months.order_by("pk").values("pk", "month", "run_time_min_per_week")),
    )


def change_of(step, **changed):
    values = {name: getattr(step, name) for name in ("pk", "run_time_min", "cycles", "soak_min", "enabled")}
    return StepChange(**{**values, **changed})


def edit(program, by=None, steps=(), **changed):
    words = {"name": program.name, "starts_at": program.starts_at, "weekdays": program.weekdays, **changed}
    return edit_program(program=program, steps=list(steps), by=by, **words)


# Computing


def test_every_zone_gets_twelve_months(draft):
    assert ZoneMonth.objects.filter(schedule=draft).count() == 24
    assert draft.not_computed == []


def test_without_a_month_the_programs_follow_the_soil_and_the_coming_week(seattle, site):
    dry = compute_draft(site=site, today=JULY, by=None)
    assert dry.basis["rule"] == "the soil's daily balance up to yesterday and the coming week"
    litres = dry.litres_per_week
    assert litres > 0
    seattle.days.filter(date__range=(JULY - dt.timedelta(days=7), JULY)).update(precipitation_mm=10)
    wet = compute_draft(site=site, today=JULY, by=None)
    assert (wet.litres_per_week or 0.0) < litres


def test_a_tree_zone_in_wet_soil_needs_nothing_this_week(seattle, site):
    site.zones.filter(number=2).update(planting="trees")
    seattle.days.filter(date__range=(JULY - dt.timedelta(days=7), JULY)).update(precipitation_mm=20)
    draft = compute_draft(site=site, today=JULY, by=None)
    assert not draft.programs.filter(steps__zone__number=2).exists()
    assert draft.basis["advice"][str(site.zones.get(number=2).pk)]["due_on"] > "2015-07-22"
    assert draft.zone_months.get(zone__number=2, month=7).days_per_week < 1  # the month's plan: every few weeks


def test_the_months_plan_of_trees_is_a_program_every_so_many_weeks(seattle, site):
    site.zones.update(planting="trees")
    draft = compute_draft(site=site, today=JULY, by=None, month=7)
    (program,) = draft.programs.all()
    july = draft.zone_months.get(zone__number=1, month=7)
    assert program.day_rule == "interval"
    assert program.every_n_days == round(7 / july.days_per_week) > 7
    assert program.counted_from.weekday() in program.weekdays
    assert draft.litres_per_week == pytest.approx(2 * july.run_time_min * july.days_per_week * 20.0)


def test_a_rate_that_is_a_slip_of_the_pen_is_not_computed_and_names_the_field(seattle, site):
    site.zones.filter(number=1).update(application_rate_mm_h=0.1)
    draft = compute_draft(site=site, today=JULY, by=None)
    (lacking,) = draft.not_computed
    assert lacking["needs"].startswith("a correction in the register: the application rate, 0.100 mm/h, is too low")
    assert "window has" in lacking["needs"]


def test_a_station_that_is_silent_leaves_the_normal_of_the_month(seattle, site):
    draft = compute_draft(site=site, today=dt.date(2026, 7, 15), by=None)
    assert draft.basis["rule"] == "the normal of the month"
    assert draft.basis["advice"] == {}


def test_a_zone_without_rate_area_and_flow_says_what_it_needs_and_gets_no_minutes(seattle, site):
    site.zones.filter(number=1).update(application_rate_mm_h=None, area_m2=None, flow_l_min=None)
    draft = compute_draft(site=site, today=JULY, by=None, month=7)
    (lacking,) = draft.not_computed
    assert lacking["zone"] == "1 Zone 1"
    assert lacking["needs"].startswith("application rate and area")
    assert not draft.zone_months.filter(zone__number=1).exists()
    assert [step.zone.number for program in draft.programs.all() for step in program.steps.all()] == [2]


def test_a_site_without_station_or_days_computes_no_zone_and_says_why(site):
    draft = compute_draft(site=site, today=JULY, by=None)
    assert [item["needs"][:36] for item in draft.not_computed] == ["a full year of daily weather at Test"] * 2
    site.weather_station = None
    site.save()
    draft = compute_draft(site=site, today=JULY, by=None)
    assert {item["needs"] for item in draft.not_computed} == {"a weather station for the site"}


def test_a_zone_without_valve_is_computed_but_stands_in_no_program(seattle, site):
    site.zones.filter(number=2).update(valve=None)
    draft = compute_draft(site=site, today=JULY, by=None, month=7)
    assert draft.zone_months.filter(zone__number=2).count() == 12
    assert draft.warnings == ["Zone 2 Zone 2: no valve in the register, so it is in no program"]


def test_what_does_not_fit_the_window_says_by_how_much_and_which_change_would_fit(seattle, site):
    site.watering_window_start, site.watering_window_end = dt.time(5), dt.time(6)
    site.save()
    draft = compute_draft(site=site, today=JULY, by=None, month=7)
    (words,) = draft.warnings
    busiest = sum(step.run_time_min for program in draft.programs.all() for step in program.steps.all())
    busiest += 2 * 0.25 + (3 * 2 + 30) / 60  # two gaps; three commands and two strokes until all is shut
    assert f"{busiest:.0f} min on the busiest night do not fit into the window of 60 min" in words
    assert "would fit with" in words


def test_the_zone_that_asks_for_more_days_gets_a_program_of_its_own(seattle, site):
    site.zones.filter(number=2).update(planting="shrubs")
    draft = compute_draft(site=site, today=JULY, by=None, month=7)
    first, second = draft.programs.order_by("priority")
    assert [step.zone.number for step in first.steps.all()] == [1]
    assert [step.zone.number for step in second.steps.all()] == [2]
    assert len(first.weekdays) > len(second.weekdays)


def test_only_permitted_weekdays_are_used(seattle, site):
    site.permitted_days, site.permitted_weekdays = "weekdays", [1, 4]
    site.save()
    draft = compute_draft(site=site, today=JULY, by=None, month=7)
    assert {tuple(program.weekdays) for program in draft.programs.all()} == {(1, 4)}
    assert any("permitted days" in words for words in draft.warnings)


def test_odd_dates_get_the_same_water_over_three_and_a_half_days(seattle, site):
    any_day = compute_draft(site=site, today=JULY, by=None, month=7).zone_months.get(zone__number=1, month=7)
    site.permitted_days = "odd"
    site.save()
    odd = compute_draft(site=site, today=JULY, by=None, month=7).zone_months.get(zone__number=1, month=7)
    assert odd.days_per_week == 3.5
    assert odd.run_time_min_per_week == pytest.approx(any_day.run_time_min_per_week, rel=0.03)


def test_computing_again_replaces_the_draft_and_leaves_the_published_revision_alone(draft, office):
    published = publish(schedule=draft, by=office)
    before = as_stored(published)
    first = compute_draft(site=published.site, today=JULY, by=office)
    second = compute_draft(site=published.site, today=JULY, by=office)
    assert not SeasonSchedule.objects.filter(pk=first.pk).exists()
    assert (second.state, second.revision) == ("draft", 2)
    published.refresh_from_db()
    assert as_stored(published) == before


def test_the_nightly_run_keeps_a_draft_that_a_person_edited(draft, office):
    program = draft.programs.first()
    edit(program, by=office, name="Mornings")
    assert compute_many(sites=[draft.site], today=JULY, by=None) == []
    draft.refresh_from_db()
    assert draft.programs.get().name == "Mornings"


def test_the_nightly_task_computes_every_site_and_may_run_twice(seattle, site, other_site):
    assert compute_all_schedules() == 2
    assert compute_all_schedules() == 2
    assert SeasonSchedule.objects.filter(state="draft").count() == 2


def test_a_batch_takes_the_same_number_of_queries_for_one_site_and_for_three(seattle, firm):
    sites = [factories.make_small_site(f"Site {number}") for number in range(3)]
    WaterSupply.objects.update(flow_available_l_min=5)  # every zone takes more: a warning in the firm's units each
    compute_many(sites=sites, today=JULY, by=None)  # fills the station's climate
    taken = []
    for some in (sites[:1], sites):
        with CaptureQueriesContext(connection) as queries:
            compute_many(sites=some, today=JULY, by=None)
        taken.append([query["sql"][:60] for query in queries])
    assert len(taken[0]) == len(taken[1]), taken


def test_a_schedule_holds_the_sums_of_its_table_of_months(draft):
    rows = draft.zone_months.values_list("month", "water_l")
    sums = [sum(litres for month, litres in rows if month == number) for number in range(1, 13)]
    assert draft.litres_by_month == pytest.approx(sums)
    assert max(sums) > 0


def test_a_figure_outside_its_limits_is_told_in_the_firm_s_units(seattle, site):
    site.zones.filter(number=1).update(application_rate_mm_h=0.05)
    needs = "a correction in the register: the application rate is {}, must lie between {} and {}"
    draft = compute_draft(site=site, today=JULY, by=None, month=7)
    assert draft.not_computed[0]["needs"] == needs.format("0.050 mm/h", "0.100 mm/h", "500.000 mm/h")
    Firm.objects.update(units=Firm.Units.US)
    draft = compute_draft(site=site, today=JULY, by=None, month=7)
    assert draft.not_computed[0]["needs"] == needs.format("0.002 in/h", "0.004 in/h", "19.685 in/h")


def test_progress_is_told(seattle, site):
    told = []
    compute_many(sites=[site], today=JULY, by=None, progress=lambda done, total: told.append((done, total)))
    assert told == [(1, 1)]


# Publishing


def test_publishing_supersedes_the_revision_before_in_one_step(draft, office):
    first = publish(schedule=draft, by=office, on=dt.date(2015, 7, 1))
    second = publish(schedule=compute_draft(site=draft.site, today=JULY, by=None), by=office, on=dt.date(2015, 7, 20))
    first.refresh_from_db()
    assert (first.state, first.revision, second.state, second.revision) == ("superseded", 1, "published", 2)
    assert first.superseded_at == second.published_at == dt.datetime(2015, 7, 20, 19, 0, tzinfo=dt.UTC)
    assert AuditEntry.objects.filter(verb="published schedule").count() == 2


def test_a_second_click_on_publish_does_nothing(draft, office):
    first = publish(schedule=draft, by=office)
    again = publish(schedule=draft, by=office)
    assert (again.pk, again.revision, again.published_at) == (first.pk, 1, first.published_at)
    assert AuditEntry.objects.filter(verb="published schedule").count() == 1


def test_the_second_of_two_publishers_is_told_who_was_first(draft, office, owner):
    publish(schedule=draft, by=office)
    with pytest.raises(ScheduleError, match="Revision 1 was already published by otto on"):
        publish(schedule=draft, by=owner)


def test_a_draft_that_was_computed_anew_since_cannot_be_published(draft, office):
    compute_draft(site=draft.site, today=JULY, by=None)
    with pytest.raises(ScheduleError, match="computed again"):
        publish(schedule=draft, by=office)
    assert not SeasonSchedule.objects.published().exists()


def test_a_superseded_revision_cannot_be_published_again(draft, office):
    publish(schedule=draft, by=office)
    publish(schedule=compute_draft(site=draft.site, today=JULY, by=None), by=office)
    with pytest.raises(ScheduleError, match="already published"):
        publish(schedule=draft, by=office)


def test_publishing_earlier_than_the_revision_in_force_is_refused(draft, office):
    publish(schedule=draft, by=office, on=dt.date(2015, 7, 20))
    newer = compute_draft(site=draft.site, today=JULY, by=None)
    with pytest.raises(ScheduleError, match="later than the date given"):
        publish(schedule=newer, by=office, on=dt.date(2015, 7, 1))


@pytest.mark.services
@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="row locks need PostgreSQL")
def test_of_two_publishers_at_once_one_wins_and_the_other_gets_words(site, office, owner):
    draft = compute_draft(site=site, today=JULY, by=None)
    answers, start = [], threading.Barrier(2)

    def click(person):
        start.wait()
        try:
            answers.append(publish(schedule=draft, by=person).state)
        except ScheduleError as error:
            answers.append(str(error)[:29])
        finally:
            connection.close()

    people = [threading.Thread(target=click, args=(person,)) for person in (office, owner)]
    for person in people:
        person.start()
    for person in people:
        person.join()
    assert sorted(answers) == ["Revision 1 was already publis", "published"]
    assert SeasonSchedule.objects.published().count() == 1


# Editing


def test_a_published_schedule_cannot_be_changed(draft, office):
    program = draft.programs.first()
    step = program.steps.first()
    publish(schedule=draft, by=office)
    before = as_stored(draft)
    with pytest.raises(ScheduleError, match="never changed"):
        edit(program, by=office, name="Other")
    with pytest.raises(ScheduleError, match="never changed"):
        move_step(step=step, up=False, by=office)
    draft.refresh_from_db()
    assert as_stored(draft) == before


def test_editing_a_draft_changes_its_water_and_notes_the_hand(draft, office):
    program = draft.programs.get()
    first, second = program.steps.all()
    edit(
        program,
        by=office,
        weekdays=[0, 3],
        steps=[change_of(first, run_time_min=10), change_of(second, enabled=False)],
    )
    draft.refresh_from_db()
    assert draft.litres_per_week == 10 * 2 * 20
    assert draft.edited_at is not None


def test_a_step_moves_up_and_down_and_stays_at_the_ends(draft, office):
    program = draft.programs.get()
    first, second = program.steps.all()
    move_step(step=second, up=True, by=office)
    assert [step.pk for step in program.steps.all()] == [second.pk, first.pk]
    move_step(step=second, up=True, by=office)
    move_step(step=first, up=False, by=office)
    assert [step.pk for step in program.steps.all()] == [second.pk, first.pk]


# At the controller


def test_that_a_revision_was_set_is_noted_once_a_controller(draft, office, technician):
    controller = draft.site.controllers.get()
    with pytest.raises(ScheduleError, match="draft"):
        record_applied(schedule=draft, controller=controller, applied_on=JULY, by=technician)
    publish(schedule=draft, by=office)
    draft.refresh_from_db()
    record_applied(schedule=draft, controller=controller, applied_on=JULY, by=technician)
    record_applied(schedule=draft, controller=controller, applied_on=dt.date(2015, 7, 16), by=technician)
    assert AppliedSchedule.objects.get().applied_on == dt.date(2015, 7, 16)


def test_a_revision_cannot_be_set_at_a_stranger_s_controller(draft, office, other_site):
    publish(schedule=draft, by=office)
    draft.refresh_from_db()
    with pytest.raises(ScheduleError, match="is not at the site"):
        record_applied(schedule=draft, controller=other_site.controllers.get(), applied_on=JULY, by=office)


# Pauses and water


def test_a_pause_takes_its_days_off_the_season_s_water(draft, office):
    publish(schedule=draft, by=office, on=dt.date(2015, 7, 1))
    whole = site_water_use(draft.site, season_year=2015, until=dt.date(2015, 8, 31))
    pause(sites=[draft.site], starts_on=dt.date(2015, 8, 1), ends_on=dt.date(2015, 8, 31), reason="rain", by=office)
    use = site_water_use(draft.site, season_year=2015, until=dt.date(2015, 8, 31))
    assert use.expected_by_month_l[7] == 0
    assert use.expected_by_month_l[6] == whole.expected_by_month_l[6]
    assert use.bridge.paused_days == 31
    assert use.bridge.paused_l == pytest.approx(whole.expected_by_month_l[7])


def test_a_zone_no_revision_could_compute_used_nobody_knows_how_much(seattle, site, office):
    site.zones.filter(number=1).update(application_rate_mm_h=None, area_m2=None, flow_l_min=None)
    draft = compute_draft(site=site, today=JULY, by=None, month=7)
    silent, _ = site_water_use(site, season_year=2015, until=dt.date(2015, 7, 31)).zones
    assert silent.litres == 0  # nothing was published
    publish(schedule=draft, by=office, on=dt.date(2015, 7, 1))
    use = site_water_use(site, season_year=2015, until=dt.date(2015, 7, 31))
    lacking, other = use.zones
    assert (lacking.litres, lacking.last_year_litres) == (None, 0)
    assert use.unknown_zones == ("1 Zone 1",)
    assert use.used_l == other.litres > 0


def test_the_same_pause_entered_twice_stays_one(site, office):
    for _ in range(2):
        pause(sites=[site], starts_on=JULY, ends_on=JULY, reason="rain", by=office)
    assert WateringPause.objects.count() == 1


def test_a_pause_that_ends_before_it_starts_is_refused(site, office):
    with pytest.raises(ScheduleError, match="on or after"):
        pause(sites=[site], starts_on=JULY, ends_on=dt.date(2015, 7, 1), reason="rain", by=office)


def test_ending_a_pause_keeps_its_past_days_and_drops_one_that_had_not_begun(site, office):
    (row,) = pause(sites=[site], starts_on=dt.date(2015, 7, 10), ends_on=dt.date(2015, 7, 20), reason="r", by=office)
    end_pause(pause=row, last_day=JULY, by=office)
    assert row.ends_on == JULY
    end_pause(pause=row, last_day=dt.date(2015, 7, 9), by=office)
    assert not WateringPause.objects.exists()


def test_each_revision_counts_for_its_own_days_and_last_year_stands_beside(draft, office):
    site = draft.site
    publish(schedule=draft, by=office, on=dt.date(2014, 5, 1))
    less = compute_draft(site=site, today=JULY, by=None, month=7)
    for step in less.programs.get().steps.all():
        edit(less.programs.get(), by=office, steps=[change_of(step, run_time_min=1)])
    publish(schedule=less, by=office, on=dt.date(2015, 7, 1))
    use = site_water_use(site, season_year=2015, until=dt.date(2015, 7, 31))
    days = sum(dt.date(2015, 7, day).weekday() in less.programs.get().weekdays for day in range(1, 32))
    assert use.expected_by_month_l[6] == days * 1 * 20 * 2
    assert use.expected_by_month_l[5] == pytest.approx(sum(use.zones[n].last_year_by_month[5] for n in (0, 1)))
    years = use.against_last_year
    assert (years.first, years.days, years.metered_days) == (dt.date(2015, 5, 1), 92, 0)  # published since May 2014
    assert years.last_l > years.this_l
    assert years.raw_change_percent < 0


def test_meter_budget_and_bill_stand_beside_the_scheduled_water(draft, office):
    site = draft.site
    publish(schedule=draft, by=office, on=dt.date(2015, 7, 1))
    meter = factories.MeterFactory(site=site, unit="m3")
    for day, counter in ((dt.date(2015, 7, 1), 100), (dt.date(2015, 7, 31), 130)):
        factories.MeterReadingFactory(meter=meter, read_on=day, counter=counter)
    use = site_water_use(site, season_year=2015, until=dt.date(2015, 7, 31))
    assert use.bridge.metered_l == pytest.approx(30_000)
    # CCR Title 23: MAWA = ETo 0.62 x 0.55 x area, ETo and area of the site; 200 m2 of turf, 0.8 and IE 0.75
    ratio = (0.8 / 0.75) / 0.55
    assert use.budget.estimated_use_l / use.budget.allowance_l == pytest.approx(ratio)
    assert use.cost is None
