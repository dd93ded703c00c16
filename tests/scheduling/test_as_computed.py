"""Steps as computed follow what their zone needs; programs a person shaped are kept from draft to draft."""

import datetime as dt

import pytest
from django.urls import reverse

from scheduling.actions.program_steps import add_program, add_step, copy_step
from scheduling.actions.programs import StepChange, edit_program
from scheduling.actions.schedules import compute_draft, compute_many, publish
from scheduling.models import Program, SeasonSchedule
from scheduling.queries.as_computed import minutes_words, needs_of
from scheduling.queries.sequence import week_timeline
from sites.models import Controller
from tests.scheduling.test_program_pages import form_of, url

MONDAY = dt.date(2015, 7, 13)


@pytest.fixture
def draft(seattle, site):
    return compute_draft(site=site, today=MONDAY, by=None, month=7)


@pytest.fixture
def program(draft):
    return draft.programs.get()


def edit(program, *, steps=(), weekdays=None, **days):
    program = Program.objects.get(pk=program.pk)
    return edit_program(
        program=program,
        name=program.name,
        starts_at=program.starts_at,
        weekdays=program.weekdays if weekdays is None else weekdays,
        steps=list(steps),
        by=None,
        **days,
    )


def change(step, **changed):
    values = {name: getattr(step, name) for name in ("pk", "run_time_min", "cycles", "soak_min", "enabled")}
    return StepChange(**{**values, **changed})


def steps_of(program):
    return list(Program.objects.get(pk=program.pk).steps.order_by("position"))


def weekly(schedule, step):
    return needs_of(schedule)[step.zone_id].run_time_min_per_week


def test_computed_steps_say_so_and_a_second_look_changes_nothing(draft, program):
    before = [(step.run_time_min, step.cycles, step.soak_min) for step in steps_of(program)]
    assert all(step.as_computed for step in steps_of(program))
    edit(program)  # nothing changed: dividing the week again must give the same
    assert [(step.run_time_min, step.cycles, step.soak_min) for step in steps_of(program)] == before


def test_fewer_days_or_more_starts_share_out_the_same_week(draft, program):
    edit(program, weekdays=[0, 3])
    for step in steps_of(program):
        assert 2 * step.run_time_min == pytest.approx(weekly(draft, step), abs=2 * step.cycles)
    edit(program, weekdays=[0, 3], further_starts=["06:00"])
    for step in steps_of(program):
        assert 4 * step.run_time_min == pytest.approx(weekly(draft, step), abs=4 * step.cycles)


def test_a_typed_step_stays_and_ticking_it_brings_the_computed_minutes_back(draft, program):
    first = steps_of(program)[0]
    computed = first.run_time_min
    edit(program, steps=[change(first, run_time_min=3)])
    assert (steps_of(program)[0].run_time_min, steps_of(program)[0].as_computed) == (3, False)
    edit(program, weekdays=[0])
    assert steps_of(program)[0].run_time_min == 3
    edit(program, weekdays=program.weekdays, steps=[change(steps_of(program)[0], as_computed=True)])
    assert (steps_of(program)[0].run_time_min, steps_of(program)[0].as_computed) == (computed, True)


def test_a_step_switched_off_by_hand_stays_off(draft, program):
    edit(program, steps=[change(steps_of(program)[0], enabled=False, as_computed=True)])
    edit(program, weekdays=[0])
    assert (steps_of(program)[0].enabled, steps_of(program)[0].as_computed) == (False, False)


def test_a_zone_s_second_step_comes_with_minutes_of_its_own(draft, program):
    first = steps_of(program)[0]
    twin = copy_step(step=first, by=None)
    added = add_step(program=program, zone=first.zone, by=None)
    assert not twin.as_computed and not added.as_computed
    assert steps_of(program)[0].run_time_min == twin.run_time_min == first.run_time_min


def test_the_next_revision_keeps_the_programs_with_new_minutes(draft, program, office):
    first, second = steps_of(program)
    edit(program, weekdays=[1, 4], steps=[change(first, run_time_min=4)], priority=2)
    extra = add_program(schedule=draft, controller=program.controller, by=None)
    draft.refresh_from_db()
    published = publish(schedule=draft, by=office, all_the_same=True)
    assert "1 step of 2 as typed" in minutes_words(published)
    april = compute_draft(site=draft.site, today=MONDAY, by=None, month=4)
    kept = {row.name: row for row in april.programs.all()}
    assert set(kept) == {program.name, extra.name}
    copy = kept[program.name]
    assert (copy.weekdays, copy.priority, copy.pk != program.pk) == ([1, 4], 2, True)
    typed, following = steps_of(copy)
    assert (typed.run_time_min, typed.as_computed) == (4, False)
    assert following.run_time_min < steps_of(program)[1].run_time_min  # April asks for less than July
    assert 2 * following.run_time_min == pytest.approx(weekly(april, following), abs=2 * following.cycles)
    told = f"Programs kept from revision {published.revision}, with new minutes; 1 step keeps"
    assert any(words.startswith(told) for words in april.warnings)
    assert april.own_programs and april.edited_at is None
    flow = 20.0
    assert april.litres_per_week == pytest.approx(flow * 2 * (4 + following.run_time_min))


def test_the_nightly_run_keeps_them_too_and_goes_on_renewing_its_draft(draft, program, office):
    edit(program, weekdays=[1, 4])
    publish(schedule=draft, by=office, all_the_same=True)
    for _ in range(2):
        (night,) = compute_many(sites=[draft.site], today=MONDAY, by=None)
        assert night.programs.get().weekdays == [1, 4]
    assert SeasonSchedule.objects.filter(site=draft.site, state="draft").count() == 1


def test_asked_for_programs_are_fitted_anew_and_stay_so_over_night(as_office, draft, program, office):
    edit(program, weekdays=[1])
    publish(schedule=draft, by=office, all_the_same=True)
    page = as_office.get(url("site_watering", draft.site_id)).content.decode()
    assert "as they are, with new minutes" in page
    as_office.post(url("schedule_compute", draft.site_id), {"month": "7", "programs": "fit"})
    fitted = SeasonSchedule.objects.get(site=draft.site, state="draft")
    assert fitted.programs.get().weekdays != [1]
    assert not fitted.own_programs
    (night,) = compute_many(sites=[draft.site], today=MONDAY, by=None)
    assert not night.own_programs
    as_office.post(url("schedule_compute", draft.site_id), {"month": "7", "programs": "keep"})
    assert SeasonSchedule.objects.get(site=draft.site, state="draft").programs.get().weekdays == [1]


def test_the_api_keeps_or_fits_as_asked(as_office, draft, program, office):
    edit(program, weekdays=[1])
    publish(schedule=draft, by=office, all_the_same=True)

    def computed(**asked):
        answer = as_office.post("/api/schedules/", {"site": draft.site_id, **asked}, content_type="application/json")
        assert answer.status_code == 201
        return [one["weekdays"] for one in answer.json()["programs"]]

    assert computed() == [[1]]
    assert [1] not in computed(keep_programs=False)


def test_a_zone_that_needs_nothing_is_off_until_it_does(as_office, draft, program, office):
    edit(program, weekdays=[1, 4])
    publish(schedule=draft, by=office, all_the_same=True)
    january = compute_draft(site=draft.site, today=MONDAY, by=None, month=1)
    assert [(step.enabled, step.as_computed) for step in steps_of(january.programs.get())] == [(False, True)] * 2
    assert january.litres_per_week in (None, 0)
    page = as_office.get(url("schedule", january.pk)).content.decode()
    assert page.count("needs none now") == 2  # and no minutes beside it
    assert page.count('<td class="number">–</td><td class="number">–</td>') == 2
    publish(schedule=january, by=office, all_the_same=True)
    july = compute_draft(site=draft.site, today=MONDAY, by=None, month=7)
    assert all(step.enabled for step in steps_of(july.programs.get()))


def test_zones_that_went_or_came_are_told(draft, program, office, site):
    edit(program, weekdays=[1, 4])
    publish(schedule=draft, by=office, all_the_same=True)
    first, second = site.zones.order_by("number")
    site.zones.filter(pk=first.pk).update(in_use=False)
    site.zones.filter(pk=second.pk).update(application_rate_mm_h=None, flow_l_min=None, area_m2=None)
    later = compute_draft(site=site, today=MONDAY, by=None, month=7)
    told = " ".join(later.warnings)
    assert f"Zone {first}: left out of {program.name}" in told
    steps = steps_of(later.programs.get())
    assert [step.zone_id for step in steps] == [second.pk]
    if later.not_computed:
        assert f"Zone {second} cannot be computed: its step keeps the minutes it had" in told


def test_a_permission_that_changed_is_told(draft, program, office, site):
    edit(program, weekdays=[1, 4])
    publish(schedule=draft, by=office, all_the_same=True)
    site.permitted_days, site.permitted_weekdays = "weekdays", [2]
    site.save()
    later = compute_draft(site=site, today=MONDAY, by=None, month=7)
    assert any("permits no watering that starts on" in words for words in later.warnings)


def test_an_interval_keeps_its_days_in_the_next_draft(draft, program, office):
    edit(program, day_rule="interval", every_n_days=3, counted_from=None)
    publish(schedule=draft, by=office, all_the_same=True)
    later = compute_draft(site=draft.site, today=MONDAY + dt.timedelta(days=7), by=None, month=7)
    assert later.programs.get().counted_from == MONDAY


def test_the_page_shows_ticks_and_says_at_publishing_which_minutes_were_taken(as_office, draft, program):
    page = as_office.get(url("program_edit", program.pk)).content.decode()
    assert page.count('name="steps-0-as_computed"') == 1
    assert "checked" in page.split('name="steps-0-as_computed"')[1].split(">")[0]
    ticked = {f"steps-{n}-as_computed": "on" for n in range(2)}
    as_office.post(url("program_edit", program.pk), form_of(program, **ticked, **{"steps-0-run_time_min": "6"}))
    assert [step.as_computed for step in steps_of(program)] == [False, True]
    answer = as_office.post(url("schedule_publish", draft.pk), {"site": draft.site_id}, follow=True)
    words = "Its minutes are as computed for the normal of July 2015; 1 step of 2 as typed."
    assert words in answer.content.decode()
    assert "as typed" in as_office.get(url("schedule", draft.pk)).content.decode()


# Programs that meet


@pytest.fixture
def meeting(draft, program):
    """A second program that starts while the first one runs."""
    second = add_program(schedule=draft, controller=program.controller, by=None)
    later = (dt.datetime.combine(MONDAY, program.starts_at) + dt.timedelta(minutes=2)).time()
    step = add_step(program=second, zone=steps_of(program)[0].zone, by=None)
    edit_program(
        program=Program.objects.get(pk=second.pk),
        name="Program B",
        starts_at=later,
        weekdays=program.weekdays,
        steps=[change(step, run_time_min=5)],
        by=None,
    )
    return second


def concerns(draft):
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    return week, " ".join(concern.words for concern in week.concerns)


def test_a_controller_queues_or_drops_the_program_that_meets_another(draft, meeting):
    week, words = concerns(draft)
    assert "Program B waits" in words
    assert {run.program for run in week.runs} >= {"Program A", "Program B"}
    Controller.objects.update(colliding_programs="refuse")
    week, words = concerns(draft)
    assert "another program" in words
    assert "Program B" not in {run.program for run in week.runs}
    assert week.ok


def test_priority_and_the_controller_s_rule_stand_in_the_forms(as_office, program):
    page = as_office.get(url("program_edit", program.pk))
    assert "wait for each other: the smaller priority number goes first" in page.content.decode()
    as_office.post(url("program_edit", program.pk), form_of(program, priority="5"))
    program.refresh_from_db()
    assert program.priority == 5
    refused = as_office.post(url("program_edit", program.pk), form_of(program, priority="0"))
    assert refused.status_code == 422
    assert "priority" in refused.context["form"].errors
    form = as_office.get(reverse("sites:controller_edit", args=[program.controller_id])).context["form"]
    assert form["colliding_programs"].value() == "queue"
