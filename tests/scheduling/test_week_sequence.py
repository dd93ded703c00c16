import datetime as dt

import pytest

from scheduling.actions.pauses import pause
from scheduling.actions.schedules import compute_draft
from scheduling.queries.sequence import week_timeline
from tests import factories

MONDAY = dt.date(2015, 7, 13)


@pytest.fixture
def draft(seattle, site):
    return compute_draft(site=site, today=MONDAY, by=None, month=7)


def test_a_mains_site_s_week_is_proved_and_listed_in_local_time(draft):
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    (program,) = draft.programs.all()
    assert week.ok
    assert week.words.startswith("Proved for every delay up to 2 s a command")
    assert {run.opens_at.weekday() for run in week.runs} == set(program.weekdays)
    assert {run.opens_at.time().replace(second=0) for run in week.runs[:1]} == {program.starts_at}
    assert len(week.runs) == 2 * len(program.weekdays)
    assert week.pump_starts == 0


def test_with_a_pump_the_proof_says_that_it_never_works_against_closed_valves(draft):
    supply = draft.site.supplies.get()
    supply.kind = "pump"
    supply.save()
    factories.PumpFactory(supply=supply)
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    assert week.ok
    assert "the pump never works against closed valves" in week.words
    assert week.pump_starts > 0
    assert "a path is open while the pump runs, from before it starts until after it stops" in {
        kept.rule for kept in week.kept
    }


def test_a_valve_too_slow_for_the_hand_over_gives_a_counter_example_in_words(draft):
    for valve in draft.site.controllers.get().valves.all():
        valve.closes_within_s = 80
        valve.save()
    found = week_timeline(draft, week_starts_on=MONDAY)
    (week,) = found.controllers
    assert not found.ok
    assert week.words.startswith("Rule broken: a hand-over ends in time.")
    assert week.story


def test_a_zone_that_takes_more_than_the_supply_gives_is_not_proved(draft):
    draft.site.supplies.update(flow_available_l_min=10)
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    assert week.ok is False
    assert "supply feeds 10.0 L/min" in week.words


def test_nothing_runs_in_a_paused_week(draft, office):
    pause(sites=[draft.site], starts_on=MONDAY, ends_on=MONDAY + dt.timedelta(days=6), reason="rain", by=office)
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    assert (week.ok, week.words) == (None, "Nothing runs in this week.")


def test_odd_dates_run_on_odd_dates_only(seattle, site):
    site.permitted_days = "odd"
    site.save()
    draft = compute_draft(site=site, today=MONDAY, by=None, month=7)
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    assert sorted({run.opens_at.day for run in week.runs}) == [13, 15, 17, 19]


def test_three_mornings_at_five_with_a_second_program_for_the_thirsty_can_be_expressed(draft):
    """The usual summer habit: common practice, no source."""
    program = draft.programs.get()
    program.starts_at, program.weekdays = dt.time(5), [0, 2, 4]
    program.save()
    program.steps.update(run_time_min=12)
    thirsty = draft.programs.create(
        controller=program.controller, name="Thirsty", priority=2, starts_at=dt.time(5), weekdays=[1, 5]
    )
    thirsty.steps.create(zone=draft.site.zones.get(number=1), position=1, run_time_min=10)
    (week,) = week_timeline(draft, week_starts_on=MONDAY).controllers
    assert week.ok
    days = [(run.opens_at.strftime("%a"), run.program) for run in week.runs]
    assert days == [
        ("Mon", "Program A"),
        ("Mon", "Program A"),
        ("Tue", "Thirsty"),
        ("Wed", "Program A"),
        ("Wed", "Program A"),
        ("Fri", "Program A"),
        ("Fri", "Program A"),
        ("Sat", "Thirsty"),
    ]
