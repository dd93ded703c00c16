"""Programs to commands and their proof, on the habits of a summer. Common practice, no source, unless named."""

from dataclasses import replace
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import pytest

from scheduling.core.sequence.compile import Options, compile_once, compile_programs
from scheduling.core.sequence.plant import Plant, Pump, Valve
from scheduling.core.sequence.programs import (
    EVERY_DAY,
    EvenDays,
    EveryNDays,
    OddDays,
    Program,
    Step,
    Weekdays,
    duplicate_step,
    move_step,
    switch_step,
    walk_through_steps,
    with_minutes,
)
from scheduling.core.sequence.simulate import explain, nominal_delays, simulate
from scheduling.core.sequence.timeline import Action, NoticeKind, Rule
from scheduling.core.sequence.verify import CounterExample, Proof, verify

SEATTLE = ZoneInfo("America/Los_Angeles")
MONDAY = date(2024, 7, 1)
SUNDAY = date(2024, 7, 7)
MON_WED_FRI = Weekdays(frozenset({0, 2, 4}))
VALVES = tuple(Valve(n, f"Zone {n}", 20.0, closes_from_s=2.0) for n in range(1, 7))
MAINS = Plant(VALVES)
PUMPED = Plant(VALVES, pump=Pump())
SUMMER = Program(1, "A", (time(5),), MON_WED_FRI, tuple(Step(n, 10 + n % 6) for n in range(1, 7)))
THIRSTY = Program(2, "B", (time(5),), Weekdays(frozenset({1, 3})), (Step(2, 12), Step(5, 12)))


def week(plant, *programs, options=None, first=MONDAY, last=SUNDAY, tz=SEATTLE):
    return compile_programs(plant, programs, first, last, tz, options)


def local(timeline, seconds):
    return timeline.at(seconds, SEATTLE).strftime("%a %H:%M:%S")


def sent(timeline, *actions):
    return [c for c in timeline.commands if c.action in actions]


@pytest.mark.parametrize("plant", [MAINS, PUMPED], ids=["mains", "pump"])
def test_three_mornings_at_five_and_two_for_the_thirsty_zones_are_proved(plant):
    timeline = week(plant, SUMMER, THIRSTY)
    verdict = verify(timeline, plant)
    assert isinstance(verdict, Proof), verdict
    assert timeline.notices == ()
    openings = sent(timeline, Action.OPEN_VALVE)
    assert len(openings) == 3 * 6 + 2 * 2
    assert {local(timeline, c.at_s)[:9] for c in openings if c.valve_id == 1} == {
        "Mon 05:00",
        "Wed 05:00",
        "Fri 05:00",
    }


def test_the_pump_starts_once_a_morning_after_the_first_valve_and_stops_before_the_last_closes():
    timeline = week(PUMPED, SUMMER, last=MONDAY)
    (start_s, stop_s), *more = timeline.pump_runs()
    first_open = sent(timeline, Action.OPEN_VALVE)[0]
    last_close = sent(timeline, Action.CLOSE_VALVE)[-1]
    assert more == []
    # delay 2 + opening 5 + prime 5, and one second to spare
    assert start_s - first_open.at_s == 13
    # delay 2 + run-down 2, and one second to spare
    assert last_close.at_s - stop_s == 5


def test_with_a_pump_the_next_valve_is_open_before_the_last_one_shuts():
    timeline = week(PUMPED, SUMMER, last=MONDAY)
    opens = {c.valve_id: c.at_s for c in sent(timeline, Action.OPEN_VALVE)}
    closes = {c.valve_id: c.at_s for c in sent(timeline, Action.CLOSE_VALVE)}
    # delay 2 + opening 5 - soonest closing 2, and one second to spare
    assert {closes[n] - opens[n + 1] for n in range(1, 6)} == {6}
    assert verify(timeline, PUMPED).margin_of(Rule.FLOW_PATH).margin_s == pytest.approx(1.0)


def test_without_a_pump_valves_swap_at_one_moment():
    timeline = week(MAINS, SUMMER, last=MONDAY)
    opens = {c.valve_id: c.at_s for c in sent(timeline, Action.OPEN_VALVE)}
    closes = {c.valve_id: c.at_s for c in sent(timeline, Action.CLOSE_VALVE)}
    assert {closes[n] - opens[n + 1] for n in range(1, 6)} == {0}


def test_interlocked_outputs_need_no_closing_command_between_zones():
    plant = replace(MAINS, interlocked=True)
    timeline = week(plant, SUMMER, last=MONDAY)
    assert len(sent(timeline, Action.OPEN_VALVE)) == 6
    assert len(sent(timeline, Action.CLOSE_VALVE)) == 1
    assert verify(timeline, plant).ok


def test_interlocked_outputs_with_slow_closing_valves_keep_the_pump_running():
    valves = tuple(replace(v, closes_from_s=6.0) for v in VALVES)
    plant = Plant(valves, interlocked=True, pump=Pump())
    timeline = week(plant, SUMMER, last=MONDAY)
    assert len(timeline.pump_runs()) == 1
    assert verify(timeline, plant).margin_of(Rule.FLOW_PATH).margin_s == pytest.approx(1.0)


def test_interlocked_outputs_that_may_leave_a_gap_stop_the_pump_at_each_hand_over_and_say_so():
    plant = Plant(VALVES, interlocked=True, pump=Pump())
    timeline = week(plant, SUMMER, last=MONDAY)
    assert len(timeline.pump_runs()) == 6
    assert len(timeline.notices_of(NoticeKind.PUMP_STOP)) == 1
    assert verify(timeline, plant).ok


def test_pump_starts_are_put_off_when_an_hour_has_had_enough():
    plant = Plant(VALVES, interlocked=True, pump=Pump(most_starts_per_hour=2))
    timeline = week(plant, SUMMER, last=MONDAY)
    assert timeline.notices_of(NoticeKind.PUMP_WAIT)
    proof = verify(timeline, plant)
    assert 0 <= proof.margin_of(Rule.PUMP_STARTS).margin_s <= 1


def test_a_short_program_runs_on_until_the_pump_has_met_its_minimum():
    plant = replace(PUMPED, pump=Pump(minimum_run_s=300))
    timeline = week(plant, replace(SUMMER, steps=(Step(1, 2),)), last=MONDAY)
    (notice,) = timeline.notices_of(NoticeKind.EXTENDED)
    assert notice.seconds == 182  # 300 s and a delay of 2 s instead of 120 s
    assert timeline.demands[0].water_s == 302
    assert verify(timeline, plant).ok


def test_the_master_valve_opens_first_and_closes_last():
    plant = replace(PUMPED, master=Valve(99, "Master"))
    timeline = week(plant, SUMMER, last=MONDAY)
    assert timeline.commands[0].action is Action.OPEN_MASTER
    assert timeline.commands[-1].action is Action.CLOSE_MASTER
    assert verify(timeline, plant).ok
    mains = replace(MAINS, master=Valve(99, "Master"))
    assert verify(week(mains, SUMMER, THIRSTY), mains).ok


def test_soaks_are_filled_with_other_zones_those_with_the_longest_way_to_go_first():
    steps = (Step(1, 20, cycles=2, soak_min=15), Step(2, 10), Step(3, 20, cycles=2, soak_min=15))
    timeline = week(PUMPED, replace(SUMMER, steps=steps), last=MONDAY)
    assert [run.valve_id for run in timeline.runs] == [1, 3, 2, 1, 3]
    assert len(timeline.pump_runs()) == 1  # no moment in which all zones soak
    first, second = (run for run in timeline.runs if run.valve_id == 3)
    assert second.open_s - first.close_s >= 15 * 60
    assert verify(timeline, PUMPED).ok


def test_a_soak_with_nothing_else_to_water_pauses_and_says_how_long():
    timeline = week(MAINS, replace(SUMMER, steps=(Step(1, 20, cycles=2, soak_min=15),)), last=MONDAY)
    (notice,) = timeline.notices_of(NoticeKind.SOAK_WAIT)
    assert notice.seconds == pytest.approx(15 * 60, abs=5)


def test_a_program_that_starts_into_another_waits_and_the_pump_runs_through():
    second = Program(2, "B", (time(5, 30),), MON_WED_FRI, (Step(1, 10),))
    timeline = week(PUMPED, SUMMER, second, last=MONDAY)
    (notice,) = timeline.notices_of(NoticeKind.QUEUED)
    assert notice.program_id == 2
    assert notice.seconds == pytest.approx((75 - 30) * 60, abs=60)  # A waters 75 min
    assert len(timeline.pump_runs()) == 1
    assert verify(timeline, PUMPED).ok


def test_of_two_waiting_programs_the_better_priority_goes_first():
    late = Program(2, "B", (time(5, 10),), EVERY_DAY, (Step(2, 10),), priority=3)
    urgent = Program(3, "C", (time(5, 20),), EVERY_DAY, (Step(3, 10),), priority=1)
    timeline = week(MAINS, SUMMER, late, urgent, last=MONDAY)
    assert [run.program_id for run in timeline.runs][-2:] == [3, 2]


def test_colliding_programs_can_be_refused_instead():
    second = replace(THIRSTY, days=MON_WED_FRI, start_times=(time(5, 30),))
    timeline = week(MAINS, SUMMER, second, last=MONDAY, options=Options(refuse_collisions=True))
    assert [notice.program_id for notice in timeline.notices_of(NoticeKind.REFUSED)] == [2]
    assert {run.program_id for run in timeline.runs} == {1}


def test_two_zones_water_together_where_supply_and_outputs_allow():
    plant = replace(PUMPED, most_open=2, supply_l_min=45.0)
    program = replace(SUMMER, steps=tuple(Step(n, 15) for n in range(1, 7)))
    together, single = week(plant, program, last=MONDAY), week(PUMPED, program, last=MONDAY)
    assert verify(together, plant).ok
    assert together.commands[-1].at_s - 5 * 3600 < 0.65 * (single.commands[-1].at_s - 5 * 3600)
    assert isinstance(verify(together, PUMPED), CounterExample)


def test_watering_past_the_window_is_reported_with_its_minutes():
    timeline = week(MAINS, SUMMER, last=MONDAY, options=Options(window=(time(22), time(6))))
    (notice,) = timeline.notices_of(NoticeKind.OUTSIDE_WINDOW)
    assert notice.seconds == pytest.approx(15 * 60, abs=60)  # 75 min from 05:00
    assert "until 06:14" in notice.text  # told to close early, since it shuts slowly


def test_a_window_over_midnight_belongs_to_the_day_it_begins():
    night = Program(1, "N", (time(23, 30),), Weekdays(frozenset({0})), (Step(1, 60),))
    mondays = Options(window=(time(22), time(6)), permitted_days=Weekdays(frozenset({0})))
    assert week(MAINS, night, options=mondays).notices == ()
    early = replace(night, start_times=(time(5),))  # Monday 05:00 lies in Sunday's night
    assert [n.kind for n in week(MAINS, early, options=mondays).notices] == [NoticeKind.OUTSIDE_WINDOW]


def test_a_run_over_midnight_is_one_run():
    timeline = week(PUMPED, replace(SUMMER, start_times=(time(23, 50),)), last=MONDAY)
    assert local(timeline, timeline.commands[-1].at_s).startswith("Tue 01:0")
    assert len(timeline.pump_runs()) == 1


def test_a_start_skipped_by_the_clock_in_spring_runs_an_hour_later_and_says_so():
    day = date(2024, 3, 10)  # 02:00 to 03:00 does not exist in Seattle
    timeline = week(MAINS, replace(SUMMER, days=EVERY_DAY, start_times=(time(2, 30),)), first=day, last=day)
    assert local(timeline, timeline.commands[0].at_s) == "Sun 03:30:00"
    assert [notice.kind for notice in timeline.notices] == [NoticeKind.CLOCK_CHANGE]


def test_a_start_that_comes_twice_in_autumn_runs_once():
    day = date(2024, 11, 3)
    timeline = week(MAINS, replace(SUMMER, days=EVERY_DAY, start_times=(time(1, 30),)), first=day, last=day)
    assert len(sent(timeline, Action.OPEN_VALVE)) == 6
    assert timeline.at(timeline.commands[0].at_s, UTC) == datetime(2024, 11, 3, 8, 30, tzinfo=UTC)
    assert [notice.kind for notice in timeline.notices] == [NoticeKind.CLOCK_CHANGE]


def test_five_in_the_morning_stays_five_across_a_clock_change():
    timeline = week(MAINS, replace(SUMMER, days=EVERY_DAY), first=date(2024, 3, 9), last=date(2024, 3, 11))
    starts = [local(timeline, c.at_s) for c in sent(timeline, Action.OPEN_VALVE) if c.valve_id == 1]
    assert starts == ["Sat 05:00:00", "Sun 05:00:00", "Mon 05:00:00"]


def test_a_walk_through_of_all_zones_at_two_minutes_is_proved():
    starts_at = datetime(2024, 7, 1, 9, tzinfo=SEATTLE)
    timeline = compile_once(PUMPED, walk_through_steps(tuple(range(1, 7))), starts_at)
    assert verify(timeline, PUMPED).ok
    assert [run.valve_id for run in timeline.runs] == [1, 2, 3, 4, 5, 6]


def test_steps_too_short_for_the_strokes_are_refused_in_words():
    timeline = week(MAINS, replace(SUMMER, steps=(Step(1, 0.5), Step(2, 10), Step(77, 10))), last=MONDAY)
    assert [notice.kind for notice in timeline.notices] == [NoticeKind.REFUSED, NoticeKind.REFUSED]
    assert [run.valve_id for run in timeline.runs] == [2]


def test_a_computed_step_without_its_minutes_is_an_error_not_a_guess():
    program = replace(SUMMER, steps=(Step(1, None), Step(2, None)))
    with pytest.raises(ValueError, match="computed"):
        week(MAINS, program)
    filled = with_minutes(program, {1: 12.0})
    assert [run.valve_id for run in week(MAINS, filled, last=MONDAY).runs] == [1]


def test_a_pump_without_overlap_has_a_counter_example_that_fails_when_replayed():
    timeline = week(MAINS, SUMMER, last=MONDAY)  # valves swap without overlap
    pump = week(PUMPED, SUMMER, last=MONDAY).pump_runs()[0]
    commands = [
        c for c in week(PUMPED, SUMMER, last=MONDAY).commands if c.action in (Action.START_PUMP, Action.STOP_PUMP)
    ]
    planted = replace(timeline, commands=tuple(sorted((*timeline.commands, *commands), key=lambda c: c.at_s)))
    assert pump[0] < pump[1]
    verdict = verify(planted, PUMPED)
    assert isinstance(verdict, CounterExample)
    assert verdict.rule is Rule.FLOW_PATH
    replayed = simulate(planted, PUMPED, verdict.delays)
    assert Rule.FLOW_PATH in {failure.rule for failure in replayed.failures}
    story = explain(planted, PUMPED, verdict.delays, verdict.at_s)
    assert any("against closed valves" in text for _, text in story)


def test_a_zone_above_the_supply_is_told_before_and_by_the_verifier():
    plant = replace(MAINS, supply_l_min=15.0)
    timeline = week(plant, SUMMER, last=MONDAY)
    assert len(timeline.notices_of(NoticeKind.UNSAFE_PLANT)) == 6
    assert verify(timeline, plant).rule is Rule.TOGETHER


def test_a_few_seconds_of_delay_change_ten_minutes_by_less_than_the_tolerance():
    plant = replace(PUMPED, command_delay_s=5.0)
    timeline = week(plant, SUMMER, THIRSTY)
    assert verify(timeline, plant).margin_of(Rule.MINUTES).margin_s > 0
    for share in (0.0, 0.5, 1.0):
        result = simulate(timeline, plant, nominal_delays(timeline, plant, share))
        assert result.ok, result.failures


def test_odd_and_even_and_interval_days():
    assert [d for d in range(29, 32) if OddDays().includes(date(2024, 7, d))] == [29]
    assert OddDays(skip_31st=False).includes(date(2024, 7, 31))
    assert EvenDays().includes(date(2024, 7, 30))
    rule = EveryNDays(3, date(2024, 7, 2))
    assert [d for d in range(1, 10) if rule.includes(date(2024, 7, d))] == [2, 5, 8]
    limited = replace(SUMMER, active_from=date(2024, 7, 2), active_until=date(2024, 7, 3))
    assert [limited.runs_on(date(2024, 7, d)) for d in (1, 3, 5)] == [False, True, False]


def test_steps_are_moved_copied_and_switched_off_without_typing_them_again():
    assert [s.valve_id for s in move_step(SUMMER, 0, 2).steps] == [2, 3, 1, 4, 5, 6]
    assert [s.valve_id for s in duplicate_step(SUMMER, 1).steps] == [1, 2, 2, 3, 4, 5, 6]
    assert switch_step(SUMMER, 0, enabled=False).minutes == SUMMER.minutes - 11


def test_a_valve_that_is_still_open_is_not_put_into_the_next_group():
    """A queued program's group must not hold the zone that the program before it is just finishing with."""
    plant = replace(MAINS, keep_flow=True, most_open=2, supply_l_min=45.0)
    first = replace(SUMMER, steps=(Step(2, 10),))
    second = Program(2, "B", (time(5, 5),), EVERY_DAY, (Step(1, 20), Step(2, 11, cycles=2, soak_min=12)))
    timeline = week(plant, first, second, last=MONDAY)
    assert verify(timeline, plant).ok
    assert [run.valve_id for run in timeline.runs] == [2, 1, 2, 2]
