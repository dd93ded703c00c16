"""What no proof covers: lost commands and power cuts, on each kind of controller. Common practice, no source."""

from dataclasses import replace
from datetime import UTC, date, time

from scheduling.core.sequence.compile import compile_programs
from scheduling.core.sequence.plant import Plant, Pump, Valve
from scheduling.core.sequence.programs import EVERY_DAY, Program, Step
from scheduling.core.sequence.simulate import nominal_delays, simulate
from scheduling.core.sequence.timeline import Action, Rule

VALVES = tuple(Valve(n, f"Zone {n}", 20.0, closes_from_s=2.0) for n in (1, 2))
MAINS = Plant(VALVES)
PUMPED = Plant(VALVES, pump=Pump())
DAY = date(2024, 7, 1)
PROGRAM = Program(1, "A", (time(5),), EVERY_DAY, (Step(1, 10), Step(2, 10)))


def play(plant, *, lose=None, power_cuts=()):
    timeline = compile_programs(plant, [PROGRAM], DAY, DAY, UTC)
    lost = frozenset(i for i, c in enumerate(timeline.commands) if lose and (c.action, c.valve_id) == lose)
    assert bool(lost) == bool(lose)
    return simulate(timeline, plant, nominal_delays(timeline, plant), lost=lost, power_cuts=power_cuts)


def test_a_lost_closing_leaves_the_valve_open():
    result = play(MAINS, lose=(Action.CLOSE_VALVE, 2))
    assert result.left_open == ("Zone 2",)
    assert Rule.ALL_OFF in {failure.rule for failure in result.failures}


def test_a_field_device_that_enforces_the_longest_duration_closes_it_anyway():
    plant = replace(MAINS, enforces_max_on=True)
    result = play(plant, lose=(Action.CLOSE_VALVE, 2))
    assert result.left_open == ()
    assert 600 < result.water_s[2] < 700
    assert play(plant).ok  # and never cuts a proper run short


def test_a_lost_pump_stop_dead_heads_the_pump_until_someone_comes():
    result = play(PUMPED, lose=(Action.STOP_PUMP, None))
    assert "pump" in result.left_open
    assert any("goes on running against closed valves" in failure.text for failure in result.failures)


def test_a_lost_opening_in_the_middle_runs_the_pump_dry_for_the_whole_zone():
    result = play(PUMPED, lose=(Action.OPEN_VALVE, 2))
    assert result.dry_pump_s > 500
    assert result.water_s[2] == 0


def test_a_power_cut_shuts_plain_valves_but_leaves_latching_ones_open():
    five_past = 5 * 3600 + 300
    cut = ((five_past, five_past + 60),)
    plain, latching = play(MAINS, power_cuts=cut), play(replace(MAINS, latching=True), power_cuts=cut)
    assert plain.water_s[1] < 330
    assert latching.water_s[1] > 590
    long_cut = ((5 * 3600 + 900, 5 * 3600 + 3600),)  # over the last closing
    assert play(MAINS, power_cuts=long_cut).left_open == ()
    assert play(replace(MAINS, latching=True), power_cuts=long_cut).left_open == ("Zone 2",)


def test_a_power_cut_never_leaves_the_pump_running():
    cut = ((5 * 3600 + 300, 5 * 3600 + 360),)
    result = play(PUMPED, power_cuts=cut)
    assert result.dry_pump_s == 0
    assert result.left_open == ()
