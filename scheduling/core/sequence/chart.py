"""A timeline as a chart: time across, one row an output, one panel a watering day. Geometry only.

Waiting programs, watering outside the permitted time, broken rules and now are told by shape and words, not by colour
alone, so that print and grey keep them.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta, tzinfo

from scheduling.core.sequence.plant import Plant
from scheduling.core.sequence.timeline import Action, NoticeKind, Run, Timeline
from sites.core import writing
from sites.core.drawing import Drawing, Line, Shape, Tone, Words, box, fitted

ROW, HEAD, AXIS = 19.0, 56.0, 28.0
LEAST_PANEL, LABEL_WIDE, LABEL_NARROW = 138.0, 180.0, 126.0
HOUR_S = 3600.0
NEAR_WINDOW_S = 1.5 * HOUR_S  # an edge of the window this near to the watering is shown
MIN_BAR = 2.0
PUMP, MASTER = "pump", "master valve"


@dataclass(frozen=True)
class Flag:
    """A moment to point at: `sign` is the number or cross that the list beside the chart explains."""

    at_s: float
    sign: str
    broken: bool = False


@dataclass(frozen=True)
class ChartData:
    """What a chart shows of one controller. Seconds are after the timeline's origin.

    window: permitted spans; day_starts_hour: 0, or 12 where the window runs over midnight. names: how to call a
    valve in the chart, by its id; its own name else.
    """

    title: str
    timeline: Timeline
    plant: Plant
    tz: tzinfo
    window: tuple[tuple[float, float], ...] = ()
    day_starts_hour: int = 0
    flags: tuple[Flag, ...] = ()
    now_s: float | None = None
    names: Mapping[int, str] = field(default_factory=dict)


@dataclass(frozen=True)
class _Bar:
    begin_s: float
    end_s: float
    output: object
    program_id: int | None = None


@dataclass(frozen=True)
class _Panel:
    day: date
    begin_s: float
    bars: tuple[_Bar, ...]


@dataclass(frozen=True)
class _Frame:
    """Where one panel stands and how its seconds become units."""

    x: float
    y: float
    width: float
    rows: float
    low_s: float
    high_s: float

    def at(self, seconds: float) -> float:
        share = (seconds - self.low_s) / (self.high_s - self.low_s)
        return self.x + min(1.0, max(0.0, share)) * self.width

    def shows(self, begin_s: float, end_s: float | None = None) -> bool:
        return begin_s < self.high_s and (begin_s if end_s is None else end_s) > self.low_s

    @property
    def bottom(self) -> float:
        return self.y + self.rows


def chart(data: ChartData, width: float, only: date | None = None) -> Drawing:
    """Every watering day of the timeline side by side as far as they fit, or one day alone."""
    panels = [panel for panel in _panels(data) if only is None or panel.day == only]
    narrow = width < 600
    label = LABEL_NARROW if narrow else LABEL_WIDE
    drawing = Drawing(width, 60, _words(data, panels))
    drawing.add(Words(10, 20, fitted(data.title, 14, width - 20, bold=True), 14, True))
    if not panels:
        drawing.add(Words(10, 44, "Nothing runs.", 13, tone="soft"))
        return drawing
    low_s, high_s = _reach(data, panels)
    across = max(1, min(len(panels), int((width - label - 14) / LEAST_PANEL)))
    wide = (width - label - 14) / across - 10
    top = 26.0
    for start in range(0, len(panels), across):
        line = panels[start : start + across]
        outputs = _outputs(data, line)
        _labels(drawing, outputs, top + HEAD, label)
        for number, panel in enumerate(line):
            frame = _Frame(
                label + number * (wide + 10),
                top + HEAD,
                wide,
                len(outputs) * ROW,
                panel.begin_s + low_s,
                panel.begin_s + high_s,
            )
            _panel(drawing, data, panel, frame, [key for key, _ in outputs], alone=across == 1 and not narrow)
        top += HEAD + len(outputs) * ROW + AXIS
    drawing.height = top + 6
    _legend(drawing, data)
    return drawing


def watering_days(data: ChartData) -> list[date]:
    """The dates of the panels, in order."""
    return [panel.day for panel in _panels(data)]


def _panels(data: ChartData) -> list[_Panel]:
    """The bars by local day; a day begins at `day_starts_hour` and is named after its first bar."""
    days: dict[date, list[_Bar]] = {}
    shift = timedelta(hours=data.day_starts_hour)
    for bar in _bars(data):
        begins = (data.timeline.at(bar.begin_s, data.tz).replace(tzinfo=None) - shift).date()
        days.setdefault(begins, []).append(bar)
    panels = []
    for day, bars in sorted(days.items()):
        start = datetime.combine(day, datetime.min.time(), tzinfo=data.tz) + shift
        begin_s = (start - data.timeline.origin).total_seconds()
        first = min(bar.begin_s for bar in bars)
        panels.append(_Panel(data.timeline.at(first, data.tz).date(), begin_s, tuple(bars)))
    return panels


def _bars(data: ChartData) -> list[_Bar]:
    bars = [_Bar(run.open_s, run.close_s, run.valve_id, run.program_id) for run in data.timeline.runs]
    bars += [_Bar(begin_s, end_s, PUMP) for begin_s, end_s in data.timeline.pump_runs()]
    opened: float | None = None
    for command in data.timeline.commands:
        if command.action is Action.OPEN_MASTER:
            opened = command.at_s
        elif command.action is Action.CLOSE_MASTER and opened is not None:
            bars.append(_Bar(opened, command.at_s, MASTER))
    return sorted(bars, key=lambda bar: bar.begin_s)


def _outputs(data: ChartData, panels: Sequence[_Panel]) -> list[tuple[object, str]]:
    """The outputs that do something in the panels: master valve and pump first, then valves as on the controller."""
    used = {bar.output for panel in panels for bar in panel.bars}
    rows: list[tuple[object, str]] = [(key, key[:1].upper() + key[1:]) for key in (MASTER, PUMP) if key in used]
    return rows + [
        (valve.id, data.names.get(valve.id, valve.name)) for valve in data.plant.valves if valve.id in used
    ]


def _reach(data: ChartData, panels: Sequence[_Panel]) -> tuple[float, float]:
    """First and last second of the day that any panel needs, on full hours, with an edge of the window nearby."""
    low = min(bar.begin_s - panel.begin_s for panel in panels for bar in panel.bars)
    high = max(bar.end_s - panel.begin_s for panel in panels for bar in panel.bars)
    if data.now_s is not None:
        for panel in panels:
            now = data.now_s - panel.begin_s
            if 0 <= now < 24 * HOUR_S and low - HOUR_S < now < high + HOUR_S:
                low, high = min(low, now), max(high, now)
    edges = [edge - panel.begin_s for panel in panels for span in data.window for edge in span]
    low = min([low, *(edge for edge in edges if low - NEAR_WINDOW_S < edge < low)])
    high = max([high, *(edge for edge in edges if high < edge < high + NEAR_WINDOW_S)])
    return math.floor(low / HOUR_S) * HOUR_S, math.ceil((high + 1) / HOUR_S) * HOUR_S


def _labels(drawing: Drawing, outputs: list[tuple[object, str]], y: float, label: float) -> None:
    for number, (_, name) in enumerate(outputs):
        drawing.add(Words(10, y + (number + 0.5) * ROW + 4.5, fitted(name, 12.5, label - 18), 12.5))


def _panel(
    drawing: Drawing, data: ChartData, panel: _Panel, frame: _Frame, outputs: list[object], *, alone: bool
) -> None:
    title = f"{writing.weekday_day(panel.day)}"
    drawing.add(Words(frame.x, frame.y - 36, title, 13, True))
    drawing.add(box(frame.x, frame.y, frame.width, frame.rows, fill="white", stroke="none"))
    for begin_s, end_s in data.window:
        if frame.shows(begin_s, end_s):
            left, right = frame.at(begin_s), frame.at(end_s)
            drawing.add(box(left, frame.y, right - left, frame.rows, fill="wash", stroke="none"))
    _grid(drawing, data, frame, len(outputs))
    _soaks(drawing, panel, frame, outputs)
    for bar in panel.bars:
        _bar(drawing, data, bar, frame, outputs.index(bar.output), alone=alone)
    _waiting(drawing, data, frame)
    sign_ends = 0.0
    for flag in sorted(data.flags, key=lambda flag: flag.at_s):
        if frame.shows(flag.at_s):
            sign_ends = _flag(drawing, flag, frame, sign_ends)
    if data.now_s is not None and frame.shows(data.now_s):
        x = frame.at(data.now_s)
        drawing.add(Line(((x, frame.y - 8), (x, frame.bottom)), "alert", 2, dashed=True))
        drawing.add(Words(x, frame.bottom + 25, "now", 12, True, "middle", "alert"))


def _grid(drawing: Drawing, data: ChartData, frame: _Frame, rows: int) -> None:
    for number in range(rows + 1):
        y = frame.y + number * ROW
        drawing.add(Line(((frame.x, y), (frame.x + frame.width, y)), "rule", 0.6))
    hours = int((frame.high_s - frame.low_s) / HOUR_S)
    step = next(step for step in (1, 2, 3, 4, 6, 12, 24) if frame.width / max(1, hours / step) >= 40 or step == 24)
    for hour in range(hours + 1):
        x = frame.at(frame.low_s + hour * HOUR_S)
        named = hour % step == 0
        drawing.add(Line(((x, frame.y), (x, frame.bottom + (4 if named else 0))), "rule", 0.8 if named else 0.4))
        if named and x < frame.x + frame.width - 30:
            clock = data.timeline.at(frame.low_s + hour * HOUR_S, data.tz)
            drawing.add(Words(x + 2, frame.bottom + 13, f"{clock:%H:%M}", 11, tone="soft"))


def _soaks(drawing: Drawing, panel: _Panel, frame: _Frame, outputs: list[object]) -> None:
    """A dashed line between two cycles of one zone."""
    before: dict[tuple[object, int | None], _Bar] = {}
    for bar in panel.bars:
        if bar.program_id is None:
            continue
        last = before.get((bar.output, bar.program_id))
        if last is not None:
            y = frame.y + (outputs.index(bar.output) + 0.5) * ROW
            drawing.add(Line(((frame.at(last.end_s), y), (frame.at(bar.begin_s), y)), "soft", 1.2, dashed=True))
        before[bar.output, bar.program_id] = bar


def _bar(drawing: Drawing, data: ChartData, bar: _Bar, frame: _Frame, row: int, *, alone: bool) -> None:
    x, y = frame.at(bar.begin_s), frame.y + row * ROW + 3
    wide = max(MIN_BAR, frame.at(bar.end_s) - x)
    fill: Tone = "soft" if isinstance(bar.output, str) else "water"
    outside = bar.program_id is not None and bool(data.window) and not _permitted(data, bar)
    drawing.add(box(x, y, wide, ROW - 6, fill="white" if outside else fill, stroke="alert" if outside else fill))
    if outside and wide > 8:
        for stripe in range(4, int(wide), 6):
            drawing.add(Line(((x + stripe, y), (x + stripe - 3, y + ROW - 6)), "alert", 1))
    if alone and bar.program_id is not None and wide >= 44:
        text = f"{(bar.end_s - bar.begin_s) / 60:.0f} min"
        drawing.add(Words(x + 4, y + 10.5, text, 10.5, True, tone="alert" if outside else "white"))


def _permitted(data: ChartData, bar: _Bar) -> bool:
    return any(begin - 1 <= bar.begin_s and bar.end_s <= end + 1 for begin, end in data.window)


def _waiting(drawing: Drawing, data: ChartData, frame: _Frame) -> None:
    """A bracket over the time a program waits for another one."""
    word_ends = 0.0
    for notice in data.timeline.notices_of(NoticeKind.QUEUED):
        if not frame.shows(notice.at_s, notice.at_s + notice.seconds):
            continue
        left, right = frame.at(notice.at_s), frame.at(notice.at_s + notice.seconds)
        y, right = frame.y - 20, max(right, left + 4)
        drawing.add(Line(((left, y + 5), (left, y), (right, y), (right, y + 5)), "wait", 2))
        if left > word_ends:
            drawing.add(Words(left, y - 4, "waits", 11, True))
            word_ends = left + 38


def _flag(drawing: Drawing, flag: Flag, frame: _Frame, sign_from: float) -> float:
    """Point at the moment; the sign steps aside for the one before it. Returns where it ends."""
    x, y = frame.at(flag.at_s), frame.y
    if flag.broken:
        drawing.add(Line(((x, y - 12), (x, frame.bottom)), "alert", 1.2))
        drawing.add(Line(((x - 6, y - 18), (x + 6, y - 6)), "alert", 3))
        drawing.add(Line(((x - 6, y - 6), (x + 6, y - 18)), "alert", 3))
        drawing.add(Words(x + 10, y - 8, "not safe", 12, True, tone="alert"))
        return x
    drawing.add(Shape(((x - 4, y - 8), (x + 4, y - 8), (x, y - 1)), "ink", "ink", 0.5))
    sign_x = max(x, sign_from + 5)
    drawing.add(Words(sign_x, y - 11, flag.sign, 11, True, "middle"))
    return sign_x + 5


def _legend(drawing: Drawing, data: ChartData) -> None:
    """Only what this chart shows."""
    entries: list[tuple[str, Tone, Tone, str]] = [("box", "water", "water", "valve open")]
    if data.timeline.pump_runs() or data.plant.master:
        entries.append(("box", "soft", "soft", "pump, master valve"))
    if data.window:
        entries.append(("box", "wash", "rule", "permitted time"))
        if any(not _permitted(data, bar) for bar in _bars(data) if bar.program_id is not None):
            entries.append(("box", "white", "alert", "outside it"))
    if _has_soak(data.timeline.runs):
        entries.append(("line", "soft", "soft", "soaking"))
    if any(not flag.broken for flag in data.flags):
        entries.append(("flag", "ink", "ink", "smallest margins"))
    x, y = 10.0, drawing.height + 12
    for kind, fill, stroke, name in entries:
        wide = 34 + len(name) * 12 * 0.56
        if x + wide > drawing.width and x > 10:
            x, y = 10.0, y + 20
        if kind == "box":
            drawing.add(box(x, y - 10, 18, 12, fill=fill, stroke=stroke))
        elif kind == "line":
            drawing.add(Line(((x, y - 4), (x + 18, y - 4)), stroke, 1.2, dashed=True))
        else:
            drawing.add(Shape(((x + 5, y - 9), (x + 13, y - 9), (x + 9, y - 1)), "ink", "ink", 0.5))
        drawing.add(Words(x + 24, y, name, 12, tone="soft"))
        x += wide
    drawing.height = y + 12


def _has_soak(runs: Sequence[Run]) -> bool:
    keys = [(run.valve_id, run.program_id, run.open_s // (12 * HOUR_S)) for run in runs]
    return len(set(keys)) < len(keys)


def _words(data: ChartData, panels: Sequence[_Panel]) -> str:
    days = ", ".join(writing.full_day(panel.day) for panel in panels)
    return f"{data.title}: {len(data.timeline.runs)} valve runs on {days or 'no day'}"
