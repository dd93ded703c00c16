"""Any register, however odd, draws: inside its sheet, nothing over anything else, every valve and terminal there."""

import xml.etree.ElementTree as ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sites.core.drawing import BOLD_OF_EM, WIDTH_OF_EM, Disc, Drawing, Shape, Words, svg
from sites.core.plant import Backflow, Controller, Pump, SitePlant, Supply, Valve, Zone
from sites.core.plant_drawing import Told
from sites.core.terminal_map import map_rows, terminal_map
from sites.core.units import System
from sites.core.water_path import water_path

names = st.text(max_size=60) | st.sampled_from(["", "Main pitch", "W" * 90, "<b>&", "\x00\u202e", "Rasen östlich"])
some_names = st.lists(names, max_size=3).map(tuple)
figures = st.none() | st.floats(1, 30)
keys = st.integers(1, 8)
valves = st.builds(
    Valve,
    id=keys,
    name=names,
    controller_id=st.integers(1, 2),
    terminal=st.none() | st.integers(1, 40),
    is_master=st.booleans(),
    wire_length_m=figures,
    wire_section_mm2=figures,
)
zones = st.builds(
    Zone, id=keys, number=keys, name=names, valve_id=st.none() | keys, flow_l_min=figures, in_use=st.booleans()
)
supplies = st.builds(
    Supply,
    id=st.integers(1, 2),
    name=names,
    kind=st.sampled_from(["mains", "well", "pump", "gravity"]),
    flow_available_l_min=figures,
    static_pressure_kpa=figures,
    pump=st.none() | st.builds(Pump, name=names, rated_power_kw=figures),
)
backflows = st.builds(
    Backflow,
    id=keys,
    supply_id=st.none() | st.integers(1, 2),
    serial_number=names,
    size_mm=figures,
    test_due_on=st.none() | st.dates(),
)
controllers = st.builds(
    Controller,
    id=st.just(1),
    name=names,
    supply_id=st.none() | st.integers(1, 2),
    terminals=st.integers(1, 40),
    output=st.sampled_from(["ac24", "dc24", "latching"]),
    transformer_va=figures,
    output_v=figures,
    pump_relay_va=figures,
)


def some(things, most):
    return st.lists(things, max_size=most, unique_by=lambda thing: thing.id).map(tuple)


plants = st.builds(
    SitePlant,
    name=names,
    supplies=some(supplies, 2),
    backflows=some(backflows, 2),
    controllers=controllers.map(lambda controller: (controller,)),
    valves=some(valves, 8),
    zones=some(zones, 8),
)
places = st.sampled_from(["valve", "zone", "controller", "supply"])
tellings = st.builds(
    Told,
    system=st.sampled_from(list(System)),
    faults=st.dictionaries(st.tuples(places, keys) | st.sampled_from([("pump", 0), ("backflow", 0)]), some_names),
    measured=st.dictionaries(keys, names),
    electrical=st.dictionaries(keys, names),
)
widths = st.sampled_from([360.0, 520.0, 780.0, 900.0])


def ends(words: Words) -> tuple[float, float]:
    """Left and right end of a text, by the width that the drawing itself reckons with."""
    wide = len(words.text) * words.size * (BOLD_OF_EM if words.bold else WIDTH_OF_EM)
    left = words.x - {"start": 0.0, "middle": wide / 2, "end": wide}[words.anchor]
    return left, left + wide


def assert_inside(drawing: Drawing) -> None:
    for mark in drawing.marks:
        if isinstance(mark, Words):
            (left, right), ys = ends(mark), (mark.y - mark.size * 0.75, mark.y)
        elif isinstance(mark, Disc):
            left, right, ys = mark.x - mark.radius, mark.x + mark.radius, (mark.y - mark.radius, mark.y + mark.radius)
        else:
            left, right = min(x for x, _ in mark.points), max(x for x, _ in mark.points)
            ys = tuple(y for _, y in mark.points)
        # Half a letter of tolerance: a text of one letter is never cut.
        assert left >= -8 and right <= drawing.width + 8, mark
        assert min(ys) >= 0 and max(ys) <= drawing.height, mark


def assert_no_text_on_text(drawing: Drawing) -> None:
    texts = [mark for mark in drawing.marks if isinstance(mark, Words) and mark.text.strip()]
    for number, one in enumerate(texts):
        for other in texts[number + 1 :]:
            (left, right), (other_left, other_right) = ends(one), ends(other)
            beside = right <= other_left + 1 or other_right <= left + 1
            assert beside or abs(one.y - other.y) >= 10, (one, other)


def assert_no_text_through_an_edge(drawing: Drawing) -> None:
    """No box ends in the middle of a line of text."""
    edges = [
        (min(x for x, _ in mark.points), max(x for x, _ in mark.points), max(y for _, y in mark.points))
        for mark in drawing.marks
        if isinstance(mark, Shape) and len(mark.points) == 4
    ]
    for words in (mark for mark in drawing.marks if isinstance(mark, Words) and mark.text.strip()):
        left, right = ends(words)
        for edge_left, edge_right, y in edges:
            crossed = words.y - words.size * 0.6 < y < words.y
            assert not (crossed and left < edge_right and right > edge_left), words


@pytest.mark.slow
@given(plants, tellings, widths)
def test_the_water_path_is_a_sound_picture_with_every_valve(plant, told, width):
    drawing = water_path(plant, plant.controllers[0], told, width)
    ElementTree.fromstring(svg(drawing))
    assert_inside(drawing)
    assert_no_text_on_text(drawing)
    assert_no_text_through_an_edge(drawing)
    labels = [mark.text for mark in drawing.marks if isinstance(mark, Words) and mark.anchor == "middle"]
    for valve in plant.zone_valves_on(1):
        assert ("?" if valve.terminal is None else str(valve.terminal)) in labels


@given(plants, tellings, widths)
def test_the_terminal_map_is_a_sound_picture_with_every_terminal(plant, told, width):
    drawing = terminal_map(plant, plant.controllers[0], told, width)
    ElementTree.fromstring(svg(drawing))
    assert_inside(drawing)
    assert_no_text_on_text(drawing)
    labels = [mark.text for mark in drawing.marks if isinstance(mark, Words) and mark.anchor == "middle"]
    wired = [str(valve.terminal) for valve in plant.valves_on(1) if valve.terminal is not None]
    for label in wired:
        assert labels.count(label) >= wired.count(label)  # two valves on one terminal are two lines
    spans = [label.split("–") for label in labels if "–" in label]
    free = {str(number) for first, last in spans for number in range(int(first), int(last) + 1)}
    assert {str(number) for number in range(1, plant.controllers[0].terminals + 1)} <= free | set(labels)


@given(plants, tellings, st.integers(1, 9), st.integers(1, 12))
def test_a_long_map_in_parts_shows_each_line_once(plant, told, first, more):
    controller = plant.controllers[0]
    count = map_rows(plant, controller)
    starts = [0, *range(first, count, more)]
    pieces = [
        terminal_map(plant, controller, told, 520.0, part) for part in zip(starts, [*starts[1:], count], strict=True)
    ]
    lines = sum(sum(_is_box(mark) for mark in piece.marks) for piece in pieces)
    whole = sum(_is_box(mark) for mark in terminal_map(plant, controller, told, 520.0).marks)
    assert lines == whole
    for piece in pieces:
        assert_inside(piece)


def _is_box(mark: object) -> bool:
    """The box round a terminal's number, 22 high."""
    points = getattr(mark, "points", ())
    return len(points) == 4 and abs(points[2][1] - points[0][1] - 22) < 0.01
