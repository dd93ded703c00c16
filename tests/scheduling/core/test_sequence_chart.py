import datetime as dt
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from scheduling.core.sequence.chart import ChartData, Flag, chart, watering_days
from scheduling.core.sequence.compile import Options, compile_programs, permitted_spans
from scheduling.core.sequence.loads import worst_load
from scheduling.core.sequence.mishaps import mishaps
from scheduling.core.sequence.parts import Part
from scheduling.core.sequence.plant import Plant, Pump, Valve
from scheduling.core.sequence.programs import EVERY_DAY, Program, Step, Weekdays
from scheduling.core.sequence.verify import CounterExample, verify
from sites.core.drawing import Drawing, Shape, Words, svg
from sites.core.electrical import Coil

ZONE = ZoneInfo("Europe/Vienna")
MONDAY = dt.date(2026, 7, 6)
VALVES = tuple(Valve(n, f"Valve {n}") for n in (1, 2, 3))
PLAIN = Plant(VALVES)
PUMPED = Plant(VALVES, pump=Pump())
MORNINGS = Program(1, "A", (dt.time(5),), Weekdays(frozenset((0, 2, 4))), (Step(1, 10), Step(2, 12), Step(3, 8)))


def week(plant=PLAIN, *programs, options=None):
    return compile_programs(plant, programs or (MORNINGS,), MONDAY, MONDAY + dt.timedelta(days=6), ZONE, options)


def data(timeline, plant=PLAIN, **changed):
    return ChartData("Test", timeline, plant, ZONE, **changed)


def words_of(drawing: Drawing) -> list[str]:
    return [mark.text for mark in drawing.marks if isinstance(mark, Words)]


def bars_of(drawing: Drawing, tone: str) -> list[Shape]:
    return [
        m
        for m in drawing.marks
        if isinstance(m, Shape) and m.fill == tone and m.stroke == tone and len(m.points) == 4
    ]


# The chart


def test_a_week_has_a_panel_for_each_watering_day_and_a_bar_for_each_run():
    shown = data(week())
    assert watering_days(shown) == [MONDAY + dt.timedelta(days=n) for n in (0, 2, 4)]
    drawing = chart(shown, 1180)
    assert [text for text in words_of(drawing) if text.endswith(" Jul")] == ["Mon 6 Jul", "Wed 8 Jul", "Fri 10 Jul"]
    assert len(bars_of(drawing, "water")) == 9 + 1  # and one in the legend


def test_one_day_alone_has_its_minutes_in_the_bars_and_the_pump_above_the_valves():
    drawing = chart(data(week(PUMPED), PUMPED), 1180, MONDAY)
    text = words_of(drawing)
    assert text.index("Pump") < text.index("Valve 1") < text.index("Valve 3")
    assert [word for word in text if word.endswith(" min")] == ["10 min", "12 min", "8 min"]


def test_bars_stand_where_their_seconds_are():
    drawing = chart(data(week()), 1180, MONDAY)
    first, second = bars_of(drawing, "water")[:2]
    # Valve 1 waters 10 minutes, valve 2 for 12: bars as long as the minutes, the second behind the first.
    wide = [bar.points[1][0] - bar.points[0][0] for bar in (first, second)]
    assert wide[1] / wide[0] == pytest.approx(1.2, rel=0.03)
    assert second.points[0][0] == pytest.approx(first.points[1][0], abs=6)


def test_a_night_over_midnight_is_one_panel_named_after_its_first_run():
    late = replace(MORNINGS, start_times=(dt.time(23, 50),), days=Weekdays(frozenset([0])))
    assert watering_days(data(week(PLAIN, late), day_starts_hour=12)) == [MONDAY]
    assert watering_days(data(week(PLAIN, late))) == [MONDAY, MONDAY + dt.timedelta(days=1)]


def test_watering_outside_the_window_is_drawn_empty_with_a_heavy_edge_and_named_in_the_legend():
    window = (dt.time(5), dt.time(5, 15))
    options = Options(window=window)
    timeline = week(options=options)
    spans = tuple(permitted_spans(timeline.origin, MONDAY, MONDAY + dt.timedelta(days=6), ZONE, options))
    drawing = chart(data(timeline, window=spans), 1180, MONDAY)
    outside = [m for m in drawing.marks if isinstance(m, Shape) and m.fill == "white" and m.stroke == "alert"]
    assert len(outside) == 2 + 1
    assert "outside it" in words_of(drawing)


def test_collision_margin_now_and_a_broken_rule_are_told_in_words_or_signs():
    second = Program(2, "B", (dt.time(5, 10),), EVERY_DAY, (Step(1, 5),), priority=2)
    timeline = week(PLAIN, MORNINGS, second)
    flags = (Flag(5 * 3600 + 60, "1"), Flag(5 * 3600 + 600, "", broken=True))
    text = words_of(chart(data(timeline, flags=flags, now_s=5 * 3600 + 300), 1180, MONDAY))
    assert {"waits", "1", "not safe", "now", "smallest margins"} <= set(text)


@pytest.mark.parametrize("width", [372.0, 1180.0])
def test_the_chart_is_well_formed_and_inside_its_sheet_on_the_phone_and_wide(width):
    soaking = replace(MORNINGS, steps=(Step(1, 20, 2, 30), Step(2, 12), Step(3, 8)))
    drawing = chart(data(week(PUMPED, soaking), PUMPED, names={1: "A zone with a long name for a phone"}), width)
    ElementTree.fromstring(svg(drawing))
    assert "soaking" in words_of(drawing)
    for mark in drawing.marks:
        for x, y in getattr(mark, "points", [(mark.x, mark.y)] if hasattr(mark, "x") else []):
            assert 0 <= x <= width
            assert 0 <= y <= drawing.height


def test_an_empty_week_says_that_nothing_runs():
    empty = week(PLAIN, replace(MORNINGS, enabled=False))
    assert "Nothing runs." in words_of(chart(data(empty), 1180))
    assert mishaps((Part(PLAIN, empty),)) == ()


# Mishaps


def by_title(plant, word):
    return next(one for one in mishaps((Part(plant, week(plant)),)) if word in one.title)


def test_a_lost_pump_stop_runs_the_pump_dry_unless_the_device_ends_it_by_itself():
    lost = by_title(PUMPED, "pump stop")
    assert lost.unsafe
    assert "runs on until its next stop or until somebody stops it" in lost.words
    held = by_title(replace(PUMPED, enforces_max_on=True), "pump stop")
    assert "the field device stops the pump" in held.words.lower()
    assert held.left_on == ()


def test_a_lost_closing_leaves_the_valve_open_unless_the_device_ends_it_by_itself():
    assert "Valve 1 stays open until its next closing or until somebody closes it" in by_title(PLAIN, "closing").words
    held = by_title(replace(PLAIN, enforces_max_on=True), "closing")
    assert "closes Valve 1" in held.words
    assert not held.unsafe


def test_a_power_cut_shuts_plain_coils_and_leaves_latching_ones_open():
    assert "nothing is left open" in by_title(PLAIN, "power").words
    latching = by_title(replace(PLAIN, latching=True), "power")
    assert latching.left_on or "cut short" in latching.words


def test_behind_a_closed_master_valve_a_valve_left_open_runs_no_water():
    with_master = replace(PLAIN, master=Valve(99, "Master"))
    assert "behind the closed master valve" in by_title(with_master, "closing").words


# A pump that nobody can stop between zones


def test_interlocked_outputs_with_a_running_pump_break_the_flow_path_and_the_slow_valve_mends_it():
    swapped = replace(PUMPED, interlocked=True, runs_through=True)
    verdict = verify(week(swapped), swapped)
    assert isinstance(verdict, CounterExample)
    slow = replace(swapped, valves=tuple(replace(valve, closes_from_s=6.0) for valve in VALVES))
    assert verify(week(slow), slow).ok


# The transformer


def test_the_worst_load_is_at_the_hand_over_where_two_coils_hold_and_one_starts():
    coils = {1: Coil(6.0), 2: Coil(9.0), 3: Coil(5.0), "pump": Coil(4.0)}
    worst = worst_load(week(PUMPED), coils, 40.0, interlocked=False)
    # Valves 1 and 2 and the relay hold 19 VA, and the hungriest starts: 9 x 0.7 VA more.
    assert worst.load.holding_va == pytest.approx(19.0)
    assert worst.load.peak_va == pytest.approx(19.0 + 6.3)
    assert set(worst.on) == {1, 2, "pump"}
    alone = worst_load(week(replace(PLAIN, interlocked=True)), coils, 40.0, interlocked=True)
    assert alone.load.holding_va == pytest.approx(9.0)
    assert worst_load(week(), {}, 40.0, interlocked=False) is None
