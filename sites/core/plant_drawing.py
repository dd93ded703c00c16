"""A controller's plant as two drawings from the register: where the water goes, and which wire goes where.

Nothing is guessed: what the register does not hold is drawn dashed with a question mark. Figures come as finished
words with their units. The mains side of the controller is not drawn; it is for a licensed electrician.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from sites.core import plant_symbols as symbols
from sites.core.drawing import Drawing, Line, Mark, Tone, Words, box, fitted

NARROW = 760.0  # below this width there is one column
TEXT, SMALL = 13.0, 12.0
LEAST_GAP = 3  # so many free terminals in a row are drawn as one


@dataclass(frozen=True)
class Part:
    """One thing on the water's way. `name` empty: it should be there and is not in the register."""

    kind: str  # supply, backflow, pump or master
    name: str
    notes: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()
    missing: str = ""  # how to call it while it has no name


@dataclass(frozen=True)
class DrawnValve:
    """A zone or master valve; `zones` what it waters; `flow`, `wire`, `measured` (everything at
    the valve), `electrical` (resistance and voltage) finished words or empty."""

    name: str
    terminal: int | None
    zones: tuple[str, ...] = ()
    flow: str = ""
    wire: str = ""
    measured: str = ""
    electrical: str = ""
    faults: tuple[str, ...] = ()
    is_master: bool = False


@dataclass(frozen=True)
class DrawnPlant:
    """One controller with the supply it waters from. `output`: ac24, dc24 or latching."""

    site: str
    controller: str
    path: tuple[Part, ...]
    valves: tuple[DrawnValve, ...]
    terminals: int
    output: str
    power: tuple[str, ...] = ()
    relay: str | None = None  # words for the pump relay, None where the controller starts no pump
    faults: tuple[str, ...] = ()
    zones_without_valve: tuple[str, ...] = ()

    @property
    def zone_valves(self) -> tuple[DrawnValve, ...]:
        return tuple(valve for valve in self.valves if not valve.is_master)


# The water's way


def water_path(plant: DrawnPlant, width: float = 900.0) -> Drawing:
    """From the supply down to the zones; two columns of zones where the width allows."""
    drawing = Drawing(width, 0, _water_words(plant))
    twin = width >= NARROW
    main_x = width / 2 if twin else 46.0
    y = _head(drawing, plant.site, f"Water path of {plant.controller}")
    steps: list[Mark] = []
    top = y
    for part in plant.path:
        steps += _part(part, main_x, y, width)
        y += max(64.0, 40.0 + 15.0 * (len(part.notes) + len(part.faults)))
    end_y = _branches(drawing, steps, plant, main_x, y - 14, twin)
    drawing.add(Line(((main_x, top), (main_x, end_y)), "water", 4))
    drawing.extend(steps)
    y = drawing.height
    for words in plant.zones_without_valve:
        drawing.add(box(16, y, width - 32, 26, dashed=True, stroke="soft"))
        drawing.add(
            Words(26, y + 17, fitted(f"{words}: no valve in the register", TEXT, width - 60), TEXT, tone="soft")
        )
        y += 34
    _add_legend(drawing, _water_legend(plant), y + 4)
    return drawing


def _head(drawing: Drawing, site: str, title: str) -> float:
    """The title in one line or in two; returns where the drawing begins."""
    both = f"{site}: {title[:1].lower()}{title[1:]}"
    room = drawing.width - 32
    if fitted(both, 15, room, bold=True) == both:
        drawing.add(Words(16, 26, both, 15, True))
        return 66.0
    drawing.add(Words(16, 24, fitted(site, 15, room, bold=True), 15, True))
    drawing.add(Words(16, 42, fitted(title, TEXT, room), TEXT, tone="soft"))
    return 84.0


def _part(part: Part, x: float, y: float, width: float) -> list[Mark]:
    draw = {
        "supply": symbols.supply,
        "backflow": symbols.backflow,
        "pump": symbols.pump,
        "master": lambda a, b: symbols.valve(a, b, upright=True, master=True),
    }[part.kind]
    marks = list(draw(x, y) if part.name else symbols.missing(x, y))
    left, room = x + 32, width - x - 40
    name = part.name or f"{part.missing}: not recorded"
    tone: Tone = "ink" if part.name else "soft"
    marks.append(Words(left, y - 2, fitted(name, TEXT, room, bold=True), TEXT, bold=bool(part.name), tone=tone))
    return marks + _lines(part.notes, part.faults, left, y + 13, room)


def _lines(notes: Sequence[str], faults: Sequence[str], x: float, y: float, room: float) -> list[Mark]:
    marks: list[Mark] = []
    for words in notes:
        marks.append(Words(x, y, fitted(words, SMALL, room), SMALL, tone="soft"))
        y += 15
    for words in faults:
        marks += symbols.fault(x + 8, y - 4)
        cut = fitted(words, SMALL, room - 20, bold=True)
        marks.append(Words(x + 20, y, cut, SMALL, bold=True, tone="alert"))
        y += 15
    return marks


def _branches(drawing: Drawing, marks: list[Mark], plant: DrawnPlant, main_x: float, y: float, twin: bool) -> float:
    """Valves with their zones; returns where the main pipe ends and sets the height reached."""
    sides = [y, y]
    end_y = y
    for number, valve in enumerate(plant.zone_valves):
        side = number % 2 if twin else 1
        top = sides[side]
        notes = [f"by {valve.name}, {valve.flow or 'flow ?'}", *([valve.measured] if valve.measured else [])]
        high = 28.0 + 15.0 * (len(notes) + len(valve.faults))
        middle = top + high / 2
        to_right = side == 1
        marks += _branch(drawing, valve, notes, main_x, middle, high, to_right=to_right)
        end_y = max(end_y, middle)
        sides[side] = top + max(high, 44) + 12
    if not plant.zone_valves:
        marks.append(Words(main_x + 32, y + 20, "no zone valve in the register", TEXT, tone="soft"))
        sides[1], end_y = y + 34, y + 14
    drawing.height = max(sides)
    return end_y


def _branch(
    drawing: Drawing, valve: DrawnValve, notes: list[str], main_x: float, y: float, high: float, *, to_right: bool
) -> list[Mark]:
    turn = 1 if to_right else -1
    valve_x, near_x = main_x + turn * 44, main_x + turn * 72
    far_x = drawing.width - 16 if to_right else 16.0
    left, room = min(near_x, far_x), abs(far_x - near_x)
    known = bool(valve.zones)
    marks: list[Mark] = [Line(((main_x, y), (near_x, y)), "water", 3)]
    marks += symbols.valve(valve_x, y)
    label = str(valve.terminal) if valve.terminal is not None else "?"
    marks.append(Words(valve_x, y + 24, label, SMALL, bold=True, anchor="middle"))
    marks.append(box(left, y - high / 2, room, high, stroke="ink" if known else "soft", dashed=not known))
    title = " and ".join(valve.zones) if known else "no zone in the register"
    marks.append(Words(left + 10, y - high / 2 + 17, fitted(title, TEXT, room - 20, bold=True), TEXT, known))
    return marks + _lines(notes, valve.faults, left + 10, y - high / 2 + 32, room - 20)


def _water_legend(plant: DrawnPlant) -> list[tuple[list[Mark], str]]:
    kinds = {part.kind for part in plant.path if part.name}
    entries: list[tuple[list[Mark], str]] = []
    if "supply" in kinds:
        entries.append((symbols.supply(0, 0), "water supply"))
    if "backflow" in kinds:
        entries.append((symbols.backflow(0, 0), "backflow assembly"))
    if "pump" in kinds:
        entries.append((symbols.pump(0, 0), "pump"))
    if "master" in kinds:
        entries.append((symbols.valve(0, 0, master=True), "master valve"))
    entries.append((symbols.valve(0, 0), "zone valve, terminal below"))
    return entries + _shared_legend()


def _shared_legend() -> list[tuple[list[Mark], str]]:
    return [(symbols.missing(0, 0), "not recorded"), (symbols.fault(0, 0), "open fault")]


def _add_legend(drawing: Drawing, entries: list[tuple[list[Mark], str]], y: float) -> None:
    drawing.add(Line(((16, y), (drawing.width - 16, y)), "rule", 1))
    marks, high = symbols.legend(entries, x=16, y=y + 4, width=drawing.width - 32)
    drawing.extend(marks)
    drawing.height = y + high + 12


def _water_words(plant: DrawnPlant) -> str:
    way = ", ".join(part.name or f"{part.missing} unknown" for part in plant.path)
    zones = "; ".join(f"{valve.name} to {' and '.join(valve.zones) or 'no zone'}" for valve in plant.zone_valves)
    return f"Water path at {plant.site}: {way}; {zones}"


# The wires


@dataclass(frozen=True)
class _Row:
    """One line of the terminal map: an output with what hangs on it, or a gap of free terminals."""

    label: str
    valve: DrawnValve | None = None
    relay: str | None = None
    shared: bool = False


def terminal_map(plant: DrawnPlant, width: float = 900.0, rows: tuple[int, int] | None = None) -> Drawing:
    """Hot to every output, each output to its coil, the returns to the common.

    rows: the first line and the one after the last of a part of a long list; only the last part has the legend.
    """
    every = _rows(plant)
    shown = every[slice(*rows)] if rows else every
    part = "" if len(shown) == len(every) else f", lines {rows[0] + 1} to {rows[1]} of {len(every)}" if rows else ""
    drawing = Drawing(width, 0, _wire_words(plant))
    top = _head(drawing, plant.site, f"Terminals of {plant.controller}{part}")
    hot_x, common_x = 28.0, width - 24
    _power(drawing, plant, hot_x, common_x, top)
    y, last = top + 26 + 15 * max(0, len(plant.power) + len(plant.faults) - 1), top
    for row in shown:
        y += 26
        drawn, used = _wire(row, y, hot_x, common_x)
        drawing.extend(drawn)
        last = y if row.valve or row.relay is not None else last
        y += used
    drawing.add(Line(((hot_x, top), (hot_x, last)), "ink", 2.5))
    drawing.add(Line(((common_x, top), (common_x, last)), "soft", 2.5))
    drawing.height = y + 14
    if not rows or rows[1] >= len(every):
        _add_legend(drawing, _wire_legend(plant, every), y + 14)
    return drawing


def map_rows(plant: DrawnPlant) -> int:
    """How many lines the terminal map has, to part a long one for paper."""
    return len(_rows(plant))


def _rows(plant: DrawnPlant) -> list[_Row]:
    by_terminal: dict[int, list[DrawnValve]] = {}
    for valve in plant.valves:
        if valve.terminal is not None:
            by_terminal.setdefault(valve.terminal, []).append(valve)
    rows: list[_Row] = []
    free: list[int] = []
    for terminal in range(1, max([plant.terminals, *by_terminal]) + 1):
        if terminal not in by_terminal:
            free.append(terminal)
            continue
        rows += _free_rows(free)
        free = []
        valves = by_terminal[terminal]
        rows += [_Row(str(terminal), valve, shared=len(valves) > 1) for valve in valves]
    rows += _free_rows(free)
    if plant.relay is not None:
        rows.append(_Row("P", relay=plant.relay))
    return rows + [_Row("?", valve) for valve in plant.valves if valve.terminal is None]


def _free_rows(free: list[int]) -> list[_Row]:
    if len(free) < LEAST_GAP:
        return [_Row(f"{number}") for number in free]
    return [_Row(f"{free[0]}–{free[-1]}")]


def _power(drawing: Drawing, plant: DrawnPlant, hot_x: float, common_x: float, y: float) -> None:
    """The low-voltage source between hot and common, above the outputs."""
    middle = hot_x + 62
    signs = {"ac24": ("hot", "common"), "dc24": ("+", "−"), "latching": ("pulse", "common")}[plant.output]
    drawing.add(
        Line(((hot_x, y), (middle - 19, y)), "ink", 2.5), Line(((middle + 19, y), (common_x, y)), "soft", 2.5)
    )
    if plant.output == "ac24":
        drawing.extend(symbols.transformer(middle, y))
    else:
        drawing.extend(symbols.battery(middle, y))
    drawing.add(Words(hot_x - 12, y - 8, signs[0], SMALL, True))
    drawing.add(Words(common_x + 8, y - 8, signs[1], SMALL, True, "end"))
    left, room = middle + 30, common_x - middle - 40
    drawing.extend(_lines(plant.power, plant.faults, left, y + 16, room))


def _wire(row: _Row, y: float, hot_x: float, common_x: float) -> tuple[list[Mark], float]:
    """One output; the marks and the height below its line."""
    box_x, coil_x = hot_x + 38, hot_x + 110
    known = row.label != "?"
    wide = 30.0 if len(row.label) < 4 else 48.0
    marks: list[Mark] = [box(box_x, y - 11, wide, 22, dashed=not known, stroke="ink" if known else "soft")]
    marks.append(Words(box_x + wide / 2, y + 5, row.label, TEXT, True, "middle"))
    if row.valve is None and row.relay is None:
        marks.append(Words(box_x + wide + 10, y + 4, "free", SMALL, tone="soft"))
        return marks, 12.0
    if known:
        marks = [Line(((hot_x, y), (hot_x + 8, y))), *symbols.contact(hot_x + 8, y), *marks]
        marks.append(Line(((hot_x + 34, y), (box_x, y))))
    marks.append(Line(((box_x + wide, y), (coil_x - 13, y)), dashed=not known))
    marks += symbols.coil(coil_x, y)
    marks.append(Line(((coil_x + 13, y), (common_x, y)), "soft", dashed=not known))
    left, room = coil_x + 24, common_x - coil_x - 34
    if row.relay is not None:
        marks.append(Words(left, y - 6, "Pump relay", TEXT, True))
        return marks + _lines([row.relay], [], left, y + 14, room), 20.0
    assert row.valve is not None
    valve = row.valve
    name = valve.name + (" (master)" if valve.is_master else "")
    zones = "" if valve.is_master else " and ".join(valve.zones) or "no zone"
    figures = [valve.wire or "wire ?", valve.electrical or "coil not measured yet"]
    if room > 300:
        name, figures = f"{name} · {zones}" if zones else name, ["; ".join(figures)]
    elif zones:
        figures = [zones, *figures]
    marks.append(Words(left, y - 6, fitted(name, TEXT, room, bold=True), TEXT, True))
    faults = [*(["shares its terminal with another valve"] if row.shared else []), *valve.faults]
    return marks + _lines(figures, faults, left, y + 14, room), 6.0 + 15.0 * (len(figures) + len(faults))


def _wire_legend(plant: DrawnPlant, rows: list[_Row]) -> list[tuple[list[Mark], str]]:
    source = (
        (symbols.transformer(0, 0), "transformer") if plant.output == "ac24" else (symbols.battery(0, 0), "source")
    )
    entries = [source, (symbols.contact(-14, 4), "output of the controller"), (symbols.coil(0, 0), "coil")]
    entries.append(([box(-15, -11, 30, 22), Words(0, 5, "3", TEXT, True, "middle")], "terminal"))
    if any(row.relay is not None for row in rows):
        entries.append(([box(-15, -11, 30, 22), Words(0, 5, "P", TEXT, True, "middle")], "output to the pump relay"))
    unknown: list[Mark] = [box(-15, -11, 30, 22, dashed=True, stroke="soft"), Words(0, 5, "?", TEXT, True, "middle")]
    return [*entries, (unknown, "terminal not recorded"), (symbols.fault(0, 0), "open fault")]


def _wire_words(plant: DrawnPlant) -> str:
    rows = "; ".join(f"{row.label}: {row.valve.name}" for row in _rows(plant) if row.valve)
    return f"Terminal map of {plant.controller} at {plant.site}: {rows}"
