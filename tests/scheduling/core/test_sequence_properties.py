"""The chart on random controllers and programs: nothing drawn is lost."""

import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from datetime import UTC

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.core.sequence.chart import MIN_BAR, ROW, ChartData, Flag, chart, watering_days
from scheduling.core.sequence.timeline import Action
from sites.core.drawing import Disc, Shape, Words, svg
from tests.scheduling.core.test_sequence_proof import compiled


@st.composite
def charts(draw):
    plant, timeline = draw(compiled())
    begin = draw(st.integers(0, 8)) * 3600.0
    return ChartData(
        draw(st.text(max_size=80)),
        timeline,
        plant,
        UTC,
        window=draw(st.sampled_from([(), ((begin, begin + 3 * 3600.0),)])),
        day_starts_hour=draw(st.sampled_from([0, 12])),
        flags=tuple(Flag(run.open_s, str(n)) for n, run in enumerate(timeline.runs[:3], start=1)),
        now_s=draw(st.none() | st.floats(-1e5, 3e5)),
    )


@given(charts(), st.sampled_from([372.0, 760.0, 1180.0]))
def test_every_run_is_a_bar_in_its_row_as_long_as_it_waters(data, width):
    drawing = chart(data, width)
    ElementTree.fromstring(svg(drawing))
    bars = [mark for mark in drawing.marks if isinstance(mark, Shape) and _high(mark) == pytest.approx(ROW - 6)]
    timeline = data.timeline
    masters = sum(command.action is Action.OPEN_MASTER for command in timeline.commands)
    assert len(bars) == len(timeline.runs) + len(timeline.pump_runs()) + masters
    assert all(_wide(bar) >= MIN_BAR - 1e-9 for bar in bars)
    for mark in drawing.marks:
        if isinstance(mark, Words | Disc):
            assert 0 <= mark.x <= drawing.width and 0 <= mark.y <= drawing.height, mark
        else:
            assert all(-1 <= x <= width + 12 and 0 <= y <= drawing.height for x, y in mark.points), mark


@given(charts())
def test_one_day_s_bars_stand_in_order_and_in_proportion_to_their_seconds(data):
    data = replace(data, day_starts_hour=0)
    timeline = data.timeline
    for day in watering_days(data)[:1]:
        bars = [mark for mark in chart(data, 1180.0, day).marks if isinstance(mark, Shape)]
        bars = [bar for bar in bars if _high(bar) == pytest.approx(ROW - 6)]
        spans = [(run.open_s, run.close_s) for run in timeline.runs] + list(timeline.pump_runs()) + _master(timeline)
        of_day = sorted(span for span in spans if timeline.at(span[0], UTC).date() == day)
        bars.sort(key=lambda bar: (_left(bar), _wide(bar)))
        scale = max(map(_wide, bars)) / max(end - begin for begin, end in of_day)
        first_s, origin = of_day[0][0], _left(bars[0])
        for bar, (begin, _) in zip(bars, of_day, strict=True):
            assert _left(bar) == pytest.approx(origin + (begin - first_s) * scale, abs=0.01)
        wanted = sorted(max(MIN_BAR, (end - begin) * scale) for begin, end in of_day)
        assert sorted(map(_wide, bars)) == pytest.approx(wanted, abs=0.01)


def _master(timeline) -> list[tuple[float, float]]:
    opened = [command.at_s for command in timeline.commands if command.action is Action.OPEN_MASTER]
    closed = [command.at_s for command in timeline.commands if command.action is Action.CLOSE_MASTER]
    return list(zip(opened, closed, strict=True))


def _high(shape: Shape) -> float:
    return max(y for _, y in shape.points) - min(y for _, y in shape.points) if len(shape.points) == 4 else 0.0


def _wide(shape: Shape) -> float:
    return shape.points[1][0] - shape.points[0][0]


def _left(shape: Shape) -> float:
    return shape.points[0][0]
