"""Where the water of one controller goes: from its supply down to the zones."""

from dataclasses import dataclass

from sites.core import plant_symbols as symbols
from sites.core import writing
from sites.core.drawing import Drawing, Line, Mark, Tone, Words, box, fitted
from sites.core.plant import Controller, SitePlant, Supply, Valve
from sites.core.plant_drawing import SMALL, TEXT, Told, add_legend, head, lines, zone_names

NARROW = 760.0  # below this width there is one column


@dataclass(frozen=True)
class Part:
    """One thing on the water's way. `name` empty: it should be there and is not in the register."""

    kind: str  # supply, backflow, pump, master or zone
    name: str
    notes: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()
    missing: str = ""  # how to call it while it has no name
    label: str = ""  # of a valve: its terminal


def water_way(plant: SitePlant, controller: Controller, told: Told) -> tuple[Part, ...]:
    """What stands between the source and the zone valves, in the order of the water."""
    supply = plant.supply_of(controller)
    masters = [
        Part("master", valve.name, (f"terminal {valve.terminal or '?'}",), told.at_valve(plant, valve))
        for valve in plant.masters_on(controller.id)
    ]
    return (_supply(supply, told), *_backflow(plant, supply, told), *_pump(supply, told), *masters)


def _supply(supply: Supply | None, told: Told) -> Part:
    if supply is None:
        return Part("supply", "", missing="water supply")
    flow = supply.shown("flow_available_l_min", told.system, "flow ?")
    note = f"{flow}, {supply.shown('static_pressure_kpa', told.system, '?')} static"
    return Part("supply", str(supply), (note,), told.at("supply", supply.id))


def _backflow(plant: SitePlant, supply: Supply | None, told: Told) -> list[Part]:
    """The supply's assembly; drinking water without one is drawn as missing, the local code decides."""
    faults = told.at("backflow")
    parts = []
    for row in plant.backflows:
        if supply is None or row.supply_id in (None, supply.id):
            due = f"next test {writing.day(row.test_due_on)}" if row.test_due_on else "test date ?"
            words = ", ".join(text for text in (row.shown("size_mm", told.system, ""), due) if text)
            parts.append(Part("backflow", str(row)[:1].upper() + str(row)[1:], (words,), faults))
    if not parts and (supply is None or supply.kind in ("mains", "well")):
        parts.append(Part("backflow", "", missing="backflow assembly", faults=faults))
    return parts


def _pump(supply: Supply | None, told: Told) -> list[Part]:
    pump = supply.pump if supply else None
    if pump is None:
        wanted = supply is not None and supply.pumped
        return [Part("pump", "", missing="pump", faults=told.at("pump"))] if wanted else []
    name = ", ".join(text for text in (pump.name, pump.shown("rated_power_kw", told.system, "")) if text)
    most = f"{pump.most_starts_per_hour} starts an hour at most"
    note = f"prime {pump.prime_delay_s} s, runs {pump.minimum_run_s} s or more, {most}"
    return [Part("pump", name, (note,), told.at("pump"))]


def water_path(plant: SitePlant, controller: Controller, told: Told, width: float = 900.0) -> Drawing:
    """From the supply down to the zones; two columns of zones where the width allows."""
    way = water_way(plant, controller, told)
    branches = [_zones(plant, valve, told) for valve in plant.zone_valves_on(controller.id)]
    drawing = Drawing(width, 0, _in_words(plant, controller, way))
    twin = width >= NARROW
    main_x = width / 2 if twin else 46.0
    y = head(drawing, plant.name, f"Water path of {controller}")
    steps: list[Mark] = []
    top = y
    for part in way:
        steps += _part(part, main_x, y, width)
        y += max(64.0, 40.0 + 15.0 * (len(part.notes) + len(part.faults)))
    end_y = _branches(drawing, steps, branches, main_x, y - 14, twin)
    drawing.add(Line(((main_x, top), (main_x, end_y)), "water", 4))
    drawing.extend(steps)
    y = drawing.height
    for zone in plant.zones if controller == plant.controllers[0] else ():
        if zone.valve_id is not None or not zone.in_use:
            continue
        drawing.add(box(16, y, width - 32, 26, dashed=True, stroke="soft"))
        drawing.add(
            Words(26, y + 17, fitted(f"Zone {zone}: no valve in the register", TEXT, width - 60), TEXT, tone="soft")
        )
        y += 34
    add_legend(drawing, _legend(way), y + 4)
    return drawing


def _zones(plant: SitePlant, valve: Valve, told: Told) -> Part:
    """What a valve waters, with its figures."""
    flow = told.amount(plant.flow_l_min(valve.id), "flow") or "flow ?"
    measured = told.measured.get(valve.id)
    notes = (f"by {valve.name}, {flow}", *([measured] if measured else []))
    name = " and ".join(zone_names(plant, valve))
    return Part("zone", name, notes, told.at_valve(plant, valve), label=str(valve.terminal or "?"))


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
    return marks + lines(part.notes, part.faults, left, y + 13, room)


def _branches(
    drawing: Drawing, marks: list[Mark], branches: list[Part], main_x: float, y: float, twin: bool
) -> float:
    """Valves with their zones; returns where the main pipe ends and sets the height reached."""
    sides = [y, y]
    end_y = y
    for number, part in enumerate(branches):
        side = number % 2 if twin else 1
        top = sides[side]
        high = 28.0 + 15.0 * (len(part.notes) + len(part.faults))
        middle = top + high / 2
        marks += _branch(drawing, part, main_x, middle, high, to_right=side == 1)
        end_y = max(end_y, middle)
        sides[side] = top + max(high, 44) + 12
    if not branches:
        marks.append(Words(main_x + 32, y + 20, "no zone valve in the register", TEXT, tone="soft"))
        sides[1], end_y = y + 34, y + 14
    drawing.height = max(sides)
    return end_y


def _branch(drawing: Drawing, part: Part, main_x: float, y: float, high: float, *, to_right: bool) -> list[Mark]:
    turn = 1 if to_right else -1
    valve_x, near_x = main_x + turn * 44, main_x + turn * 72
    far_x = drawing.width - 16 if to_right else 16.0
    left, room = min(near_x, far_x), abs(far_x - near_x)
    known = bool(part.name)
    marks: list[Mark] = [Line(((main_x, y), (near_x, y)), "water", 3)]
    marks += symbols.valve(valve_x, y)
    marks.append(Words(valve_x, y + 24, part.label, SMALL, bold=True, anchor="middle"))
    marks.append(box(left, y - high / 2, room, high, stroke="ink" if known else "soft", dashed=not known))
    title = part.name or "no zone in the register"
    marks.append(Words(left + 10, y - high / 2 + 17, fitted(title, TEXT, room - 20, bold=True), TEXT, known))
    return marks + lines(part.notes, part.faults, left + 10, y - high / 2 + 32, room - 20)


def _legend(way: tuple[Part, ...]) -> list[tuple[list[Mark], str]]:
    kinds = {part.kind for part in way if part.name}
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
    return [*entries, (symbols.missing(0, 0), "not recorded"), (symbols.fault(0, 0), "open fault")]


def _in_words(plant: SitePlant, controller: Controller, way: tuple[Part, ...]) -> str:
    names = ", ".join(part.name or f"{part.missing} unknown" for part in way)
    valves = plant.zone_valves_on(controller.id)
    zones = "; ".join(f"{valve.name} to {' and '.join(zone_names(plant, valve)) or 'no zone'}" for valve in valves)
    return f"Water path at {plant.name}: {names}; {zones}"
