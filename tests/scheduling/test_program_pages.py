"""Programs of a draft: days, starts, steps that come, go and change places, whole programs; one-off runs."""

import datetime as dt
import html

import pytest
from django.urls import reverse

from scheduling.actions.errors import ScheduleError
from scheduling.actions.program_steps import add_program, copy_program, copy_step, remove_step
from scheduling.actions.programs import edit_program
from scheduling.actions.schedules import compute_draft, publish
from scheduling.queries.sequence import week_timeline
from scheduling.queries.two_answers import two_answers
from sites.actions.site_state import change_state
from sites.core import writing
from tests import factories

MONDAY = dt.date(2015, 7, 13)


@pytest.fixture
def draft(seattle, site):
    return compute_draft(site=site, today=MONDAY, by=None, month=7)


@pytest.fixture
def program(draft):
    return draft.programs.get()


def url(name, *args):
    return reverse(f"scheduling:{name}", args=args)


def form_of(program, **changed):
    steps = list(program.steps.order_by("position"))
    data = {
        "name": program.name,
        "starts_at": f"{program.starts_at:%H:%M}",
        "day_rule": "weekdays",
        "weekdays": [str(day) for day in program.weekdays],
        "every_n_days": "2",
        "enabled": "on",
        "steps-TOTAL_FORMS": len(steps),
        "steps-INITIAL_FORMS": len(steps),
    }
    for place, step in enumerate(steps):
        data |= {
            f"steps-{place}-id": step.pk,
            f"steps-{place}-run_time_min": step.run_time_min,
            f"steps-{place}-cycles": step.cycles,
            f"steps-{place}-soak_min": step.soak_min,
            f"steps-{place}-enabled": "on",
        }
    return data | changed


def zones_of(program):
    return [step.zone.number for step in program.steps.order_by("position")]


def test_the_order_the_page_sends_is_kept_and_a_stale_one_is_ignored(as_office, program):
    first, second = program.steps.order_by("position")
    as_office.post(url("program_edit", program.pk), form_of(program, order=f"{second.pk},{first.pk}"))
    assert [step.pk for step in program.steps.order_by("position")] == [second.pk, first.pk]
    as_office.post(url("program_edit", program.pk), form_of(program, order=f"{first.pk}"))
    as_office.post(url("program_edit", program.pk), form_of(program, order=f"{'9' * 5000},\u00b2,{first.pk}"))
    assert [step.pk for step in program.steps.order_by("position")] == [second.pk, first.pk]


def test_a_zone_is_added_with_its_computed_minutes_copied_and_removed_from_the_page(as_office, program, site):
    page = url("program_edit", program.pk)
    zone = site.zones.get(number=2)
    month = program.schedule.zone_months.get(zone=zone, month=7)
    as_office.post(page, form_of(program, add="1", new_zone=zone.pk, **{"steps-0-run_time_min": "7"}))
    assert zones_of(program) == [1, 2, 2]
    steps = list(program.steps.order_by("position"))
    assert steps[0].run_time_min == 7  # what was typed is kept
    assert steps[2].run_time_min == month.run_time_min
    as_office.post(page, form_of(program, copy=str(steps[0].pk)))
    assert zones_of(program) == [1, 1, 2, 2]
    as_office.post(page, form_of(program, remove=str(steps[1].pk)))
    assert zones_of(program) == [1, 1, 2]
    assert [step.position for step in program.steps.order_by("position")] == [1, 2, 3]


def test_days_and_starts_are_stored_and_shown(as_office, program):
    changed = {
        "day_rule": "interval",
        "every_n_days": "3",
        "counted_from": "2015-07-13",
        "further_starts": "6:30 5.15",
    }
    answer = as_office.post(url("program_edit", program.pk), form_of(program, starts_at="05:00", **changed))
    assert answer.url == url("schedule", program.schedule_id)
    program.refresh_from_db()
    assert program.start_times == (dt.time(5), dt.time(5, 15), dt.time(6, 30))
    text = as_office.get(answer.url).content.decode()
    assert "every 3 days, counted from 13 Jul" in text
    assert "06:30" in text


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"further_starts": "25:00"}, "25:00 is not a clock time"),
        ({"further_starts": "12:00"}, "Outside the permitted hours"),
        ({"weekdays": []}, "Choose at least one day."),
        ({"active_from": "2015-08-01", "active_until": "2015-07-01"}, "The last day must not lie before the first."),
        ({"day_rule": "interval", "every_n_days": "99"}, "less than or equal to 60"),
        ({"day_rule": "interval", "every_n_days": "0"}, "greater than or equal to 1"),
    ],
)
def test_days_and_starts_that_cannot_be_are_refused_beside_their_field(as_office, program, changed, words):
    answer = as_office.post(url("program_edit", program.pk), form_of(program, **changed))
    assert answer.status_code == 422
    assert words in answer.content.decode()


def test_a_rule_that_the_site_forbids_is_refused(as_office, program, site):
    site.permitted_days = "odd"
    site.save()
    answer = as_office.post(url("program_edit", program.pk), form_of(program, day_rule="even"))
    assert "permits watering on odd dates only" in answer.content.decode()
    site.permitted_days, site.permitted_weekdays = "weekdays", [0]
    site.save()
    answer = as_office.post(url("program_edit", program.pk), form_of(program, day_rule="interval"))
    assert "named weekdays only" in answer.content.decode()


def test_two_starts_a_day_count_twice_in_the_week_s_water_and_a_program_switched_off_not_at_all(draft, program):
    program.steps.update(as_computed=False)

    def set_to(**days):
        edit_program(program=program, name="A", starts_at=dt.time(5), weekdays=[0, 2], steps=[], by=None, **days)
        draft.refresh_from_db()
        return draft.litres_per_week

    once = set_to()
    assert set_to(further_starts=["06:00"]) == pytest.approx(2 * once)
    assert set_to(further_starts=[], day_rule="interval", every_n_days=7) == pytest.approx(once / 2)
    assert set_to(day_rule="weekdays", enabled=False) == 0


def test_a_second_program_is_added_copied_and_deleted(as_office, draft, program):
    controller = program.controller
    answer = as_office.post(url("program_new", draft.pk, controller.pk))
    second = draft.programs.exclude(pk=program.pk).get()
    assert answer.url == url("program_edit", second.pk)
    assert (second.name, second.priority, second.steps.count()) == ("Program B", program.priority + 1, 0)
    as_office.post(url("program_copy", program.pk))
    twin = draft.programs.exclude(pk__in=[program.pk, second.pk]).get()
    assert zones_of(twin) == zones_of(program)
    assert not twin.enabled  # nothing waters twice by accident
    assert b"Delete Program B?" in as_office.get(url("program_delete", second.pk)).content
    as_office.post(url("program_delete", second.pk))
    assert draft.programs.count() == 2


def test_a_published_schedule_refuses_every_change_of_its_programs(draft, program, office):
    publish(schedule=draft, by=office)
    step = program.steps.select_related("program").first()
    for change in (
        lambda: copy_step(step=step, by=office),
        lambda: remove_step(step=step, by=office),
        lambda: add_program(schedule=draft, controller=program.controller, by=office),
        lambda: copy_program(program=program, by=office),
    ):
        with pytest.raises(ScheduleError, match="never changed"):
            change()
    assert program.steps.count() == 2


def test_a_controller_without_a_program_gets_one_on_the_draft_s_page(as_office, draft):
    """In winter nothing needs water, and a second controller may have none at all."""
    draft.programs.all().delete()
    controller = draft.site.controllers.get()
    page = as_office.get(url("schedule", draft.pk)).content.decode()
    assert "No program: where none of its zones needs water" in page
    assert url("program_new", draft.pk, controller.pk) in page
    assert as_office.post(url("program_new", draft.pk, controller.pk)).status_code == 302
    assert draft.programs.get().controller == controller


# The sequence's page and one-off runs


def test_the_sequence_page_shows_chart_margins_mishaps_and_every_run(as_office, draft):
    page = as_office.get(url("sequence", draft.pk)).content.decode()
    for words in ("The smallest margins", "If a command is lost", "All runs", "week-wide.svg"):
        assert words in page
    place = page[page.index("What is proved, and what is not") : page.index("The smallest margins")]
    for words in ("proved while every command arrives", "Proved for every delay", "Hand-overs:", "Not proved"):
        assert words in place
    assert 'class="tag bad">unsafe' in page and 'class="tag good"' not in page  # no green word above a red line
    controller = draft.site.controllers.get()
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    picture = as_office.get(url("sequence_chart", draft.pk, controller.pk, MONDAY, "week", "wide"))
    assert picture["Content-Type"] == "image/svg+xml"
    text = picture.content.decode()
    assert text.startswith("<svg") and "style=" not in text
    for zone in draft.site.zones.all():
        assert f">{zone}</text>" in text
    for day in {run.opens_at.date() for run in week.runs}:
        assert f">{day:%a} {day.day} {day:%b}</text>" in text


def test_a_test_of_all_zones_is_planned_and_proved_like_a_week(as_office, site):
    controller = site.controllers.get()
    page = as_office.get(url("one_off_run", controller.pk)).content.decode()
    assert 'value="2"' in page  # two minutes a zone
    asked = {"what": "all", "minutes": "2", "day": "2026-07-06", "time": "10:00"}
    page = as_office.get(url("one_off_run", controller.pk), asked).content.decode()
    assert "Test of all zones at 2 min" in page
    assert "Proved for every delay" in page
    assert page.count('<td class="number">2.') + page.count('<td class="number">1.') == 2
    assert as_office.get(url("one_off_run_chart", controller.pk, "narrow"), asked).status_code == 200
    refused = as_office.get(url("one_off_run", controller.pk), asked | {"minutes": ""})
    assert refused.status_code == 422
    assert "Give the minutes." in refused.content.decode()


@pytest.mark.parametrize("day", ["9999-12-31", "0001-01-01"])
def test_a_day_at_the_ends_of_the_calendar_is_refused_beside_its_field(as_office, draft, day):
    controller = draft.site.controllers.get()
    asked = {"what": "all", "minutes": "2", "day": day, "time": "10:00"}
    refused = as_office.get(url("one_off_run", controller.pk), asked)
    assert refused.status_code == 422
    assert "Look at the year." in refused.content.decode()
    picture = url("sequence_chart", draft.pk, controller.pk, MONDAY, "week", "wide")
    assert as_office.get(picture.replace(str(MONDAY), day)).status_code == 404


def test_one_valve_or_a_published_program_runs_once(as_office, draft, office):
    publish(schedule=draft, by=office)
    controller = draft.site.controllers.get()
    program = draft.programs.get()
    valve = controller.valves.first()
    common = {"day": "2026-07-06", "time": "23:00"}
    one = as_office.get(url("one_off_run", controller.pk), common | {"what": f"valve-{valve.pk}", "minutes": "5"})
    assert f"{valve.name} for 5 min" in one.content.decode()
    whole = as_office.get(url("one_off_run", controller.pk), common | {"what": f"program-{program.pk}"})
    assert f"{program.name} once" in whole.content.decode()
    zone = draft.site.zones.order_by("number").first()
    draft.site.zones.filter(pk=zone.pk).update(valve=None)
    lost = as_office.get(url("one_off_run", controller.pk), common | {"what": f"program-{program.pk}"})
    assert lost.status_code == 422
    assert f"No valve is recorded for {zone}" in html.unescape(lost.content.decode())


def test_another_site_s_valve_cannot_be_run(as_office, site, other_site):
    foreign = other_site.controllers.get().valves.first()
    asked = {"what": f"valve-{foreign.pk}", "minutes": "5", "day": "2026-07-06", "time": "23:00"}
    assert as_office.get(url("one_off_run", site.controllers.get().pk), asked).status_code == 422


def test_the_drawings_page_and_its_pictures_show_faults_measurements_and_gaps(as_office, site):
    controller = site.controllers.get()
    valve = controller.valves.first()
    factories.FaultFactory(site=site, valve=valve, kind="valve_weeps", severity="water_loss")
    site.zones.filter(number=2).update(valve=None)
    page = as_office.get(reverse("jobs:drawings", args=[site.pk])).content.decode()
    assert "valve weeps" in page
    for kind in ("water-path", "terminals"):
        picture = as_office.get(reverse("jobs:plant_drawing", args=[controller.pk, kind, "narrow"])).content.decode()
        assert picture.startswith("<svg") and "valve weeps" in picture
    path = as_office.get(reverse("jobs:plant_drawing", args=[controller.pk, "water-path", "wide"])).content.decode()
    assert "backflow assembly: not recorded" in path
    assert "no valve in the register" in path
    assert "no zone in the register" in path


@pytest.mark.parametrize("strange", ["\u00b2", "9" * 30, "-1"])
def test_a_number_that_is_no_step_s_is_no_crash(as_office, program, strange):
    before = list(program.steps.values_list("pk", "position"))
    answer = as_office.post(url("program_edit", program.pk), form_of(program, order=f"{strange},1"))
    assert answer.status_code == 302
    assert list(program.steps.values_list("pk", "position")) == before
    for pressed in (
        {"remove": strange},
        {"copy": strange},
        {"move": f"{strange}:up"},
        {"add": "1", "new_zone": strange},
    ):
        assert as_office.post(url("program_edit", program.pk), form_of(program, **pressed)).status_code == 404


def test_a_one_off_run_tells_which_published_program_it_meets(as_office, draft, office):
    publish(schedule=draft, by=office)
    program = draft.programs.get()
    first = program.starts_at
    asked = {"what": "all", "minutes": "2", "day": f"{MONDAY}", "time": f"{first:%H:%M}"}
    controller = draft.site.controllers.get()
    days = [MONDAY + dt.timedelta(days=n) for n in range(7)]
    meets = next(day for day in days if day.weekday() in program.weekdays)
    page = as_office.get(url("one_off_run", controller.pk), asked | {"day": f"{meets}"}).content.decode()
    assert f"Program A of Controller waters from {first:%H:%M}, during this run" in page
    assert "proved while every command arrives" not in page
    free = next(day for day in days if day.weekday() not in program.weekdays)
    page = as_office.get(url("one_off_run", controller.pk), asked | {"day": f"{free}"}).content.decode()
    assert "during this run" not in page
    assert "times are a guide" in page


def test_the_sequence_of_a_site_that_is_off_says_so(as_office, draft, office):
    assert "with the water on" not in as_office.get(url("sequence", draft.pk)).content.decode()
    change_state(site=draft.site, state="off", on=MONDAY, reason="sold", by=office)
    assert "with the water on" in as_office.get(url("sequence", draft.pk)).content.decode()


def test_a_run_longer_than_the_window_is_refused_beside_its_field(as_office, program):
    """The site waters from 22:00 to 8:00, 600 min: 2 x 250 and a soak of 120 are 620."""
    page = url("program_edit", program.pk)
    typed = {"steps-0-run_time_min": "500", "steps-0-cycles": "2", "steps-0-soak_min": "120"}
    answer = as_office.post(page, form_of(program, **typed))
    assert answer.status_code == 422
    assert "Takes 620 min with its soaks, the site&#x27;s watering window has 600 min." in answer.content.decode()
    assert 'value="500"' in answer.content.decode()


def test_the_draft_shows_both_answers_and_each_step_leads_to_its_reason(seattle, site, as_office):
    site.zones.filter(number=2).update(planting="trees")
    draft = compute_draft(site=site, today=MONDAY, by=None)
    page = html.unescape(as_office.get(url("schedule", draft.pk)).content.decode())
    assert "What the soil needs now, and the month’s plan" in page
    assert "needs none" in page
    assert "every 2 weeks" in page or "every 3 weeks" in page
    step = draft.programs.first().steps.first()
    reason = url("figure", draft.pk, step.zone_id, 7)
    assert f'<a href="{reason}" title="How these minutes come about">' in page
    told = html.unescape(as_office.get(reason).content.decode())
    assert "Why on these days" in told
    assert "the water of the year moves" in told


@pytest.mark.parametrize(("closes", "before_midnight"), [(dt.time(0, 30), True), (dt.time(6), False)])
def test_a_week_s_draft_names_the_day_its_program_starts_at_the_controller(
    seattle, site, as_office, closes, before_midnight
):
    site.watering_window_start, site.watering_window_end = dt.time(20), closes
    site.save()
    draft = compute_draft(site=site, today=MONDAY, by=None)
    (program,) = draft.programs.all()
    assert (program.starts_at >= dt.time(20)) == before_midnight
    answers = [row for row in two_answers(draft) if row.starts]
    assert answers
    page = html.unescape(as_office.get(url("schedule", draft.pk)).content.decode())
    for row in answers:
        assert sorted(date.weekday() for date in row.starts) == program.weekdays
        words = ", ".join(writing.weekday_day(date) for date in row.starts)
        assert words in page
        told = html.unescape(as_office.get(url("figure", draft.pk, row.zone.pk, draft.month)).content.decode())
        assert f"Starts on {words}:" in told
        start = row.starts[0]
        night = f"{writing.weekday_day(start)} to {writing.weekday_day(start + dt.timedelta(days=1))}</td>"
        assert (night in told) == before_midnight


def test_a_program_every_two_weeks_keeps_to_the_weekdays_that_a_site_permits(seattle, site, as_office):
    site.permitted_days, site.permitted_weekdays = "weekdays", [1, 4]
    site.save()
    site.zones.update(planting="trees")
    draft = compute_draft(site=site, today=MONDAY, by=None, month=7)
    program = draft.programs.get()
    assert (program.day_rule, program.every_n_days % 7) == ("interval", 0)
    page, rhythm = url("program_edit", program.pk), {"day_rule": "interval", "every_n_days": "14"}
    fitting = f"{program.counted_from:%Y-%m-%d}"
    assert as_office.post(page, form_of(program, **rhythm, counted_from=fitting)).status_code == 302
    wrong = f"{program.counted_from + dt.timedelta(days=1):%Y-%m-%d}"
    refused = as_office.post(page, form_of(program, **rhythm, counted_from=wrong))
    assert refused.status_code == 422
    assert "The site permits no watering on a" in refused.content.decode()
    every_ten = form_of(program, day_rule="interval", every_n_days="10", counted_from=fitting)
    assert "named weekdays only" in as_office.post(page, every_ten).content.decode()
