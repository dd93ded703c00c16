"""Which wire of one controller goes where: from the hot side to every output, coil and back to the common."""

from dataclasses import dataclass

from sites.core import plant_symbols as symbols
from sites.core.drawing import Drawing, Line, Mark, Words, box, fitted
from sites.core.plant import Controller, SitePlant, Valve
from sites.core.plant_drawing import SMALL, TEXT, Told, add_legend, head, lines, zone_names

PUMP_OUTPUT = "P"
LEAST_GAP = 3  # so many free terminals in a row are drawn as one


@dataclass(frozen=True)
class _Row:
    """One line of the terminal map: an output with what hangs on it, or terminals that are free (no figures)."""

    label: str
    name: str = ""
    zones: str = ""
    figures: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()


def terminal_map(
    plant: SitePlant, controller: Controller, told: Told, width: float = 900.0, rows: tuple[int, int] | None = None
) -> Drawing:
    """Hot to every output, each output to its coil, the returns to the common.

    rows: the first line and the one after the last of a part of a long list; only the last part has the legend.
    """
    every = _rows(plant, controller, told)
    shown = every[slice(*rows)] if rows else every
    part = "" if len(shown) == len(every) else f", lines {rows[0] + 1} to {rows[1]} of {len(every)}" if rows else ""
    named = "; ".join(f"{valve.terminal or '?'}: {valve.name}" for valve in plant.valves_on(controller.id))
    drawing = Drawing(width, 0, f"Terminal map of {controller} at {plant.name}: {named}")
    top = head(drawing, plant.name, f"Terminals of {controller}{part}")
    hot_x, common_x = 28.0, width - 24
    faults = told.at("controller", controller.id)
    _power(drawing, controller, faults, hot_x, common_x, top)
    y, last = top + 26 + 15 * len(faults), top
    for row in shown:
        y += 26
        drawn, used = _wire(row, y, hot_x, common_x)
        drawing.extend(drawn)
        last = y if row.figures else last
        y += used
    drawing.add(Line(((hot_x, top), (hot_x, last)), "ink", 2.5))
    drawing.add(Line(((common_x, top), (common_x, last)), "soft", 2.5))
    drawing.height = y + 14
    if not rows or rows[1] >= len(every):
        add_legend(drawing, _legend(controller, every), y + 14)
    return drawing


def map_rows(plant: SitePlant, controller: Controller) -> int:
    """How many lines the terminal map has, to part a long one for paper."""
    return len(_rows(plant, controller, Told()))


def _rows(plant: SitePlant, controller: Controller, told: Told) -> list[_Row]:
    by_terminal: dict[int | None, list[Valve]] = {}
    for valve in plant.valves_on(controller.id):
        by_terminal.setdefault(valve.terminal, []).append(valve)
    unknown = by_terminal.pop(None, [])
    rows: list[_Row] = []
    free: list[int] = []
    for terminal in range(1, max([controller.terminals, *(key for key in by_terminal if key)]) + 1):
        if terminal not in by_terminal:
            free.append(terminal)
            continue
        rows += _free_rows(free)
        free = []
        sharing = by_terminal[terminal]
        rows += [_row(plant, valve, told, shared=len(sharing) > 1) for valve in sharing]
    rows += _free_rows(free)
    supply = plant.supply_of(controller)
    if supply is not None and supply.pumped:
        load = f"coil {controller.pump_relay_va:g} VA" if controller.pump_relay_va else "coil load ?"
        rows.append(_Row(PUMP_OUTPUT, "Pump relay", figures=(load,)))
    return rows + [_row(plant, valve, told) for valve in unknown]


def _row(plant: SitePlant, valve: Valve, told: Told, *, shared: bool = False) -> _Row:
    sharing = ("shares its terminal with another valve",) if shared else ()
    return _Row(
        label=str(valve.terminal or "?"),
        name=valve.name + (" (master)" if valve.is_master else ""),
        zones="" if valve.is_master else " and ".join(zone_names(plant, valve)) or "no zone",
        figures=(wire_words(valve, told), told.electrical.get(valve.id) or "coil not measured yet"),
        faults=(*sharing, *told.at_valve(plant, valve)),
    )


def _free_rows(free: list[int]) -> list[_Row]:
    if len(free) < LEAST_GAP:
        return [_Row(f"{number}") for number in free]
    return [_Row(f"{free[0]}–{free[-1]}")]


def power_words(controller: Controller) -> str:
    """ "24 V AC, 40 VA, 26 V measured"; a question mark for a load nobody recorded."""
    output = controller.shown("output")
    if controller.output == "latching":
        return output
    load = f"{controller.transformer_va:g} VA" if controller.transformer_va else "load ?"
    volts = f", {controller.output_v:g} V measured" if controller.output_v else ""
    return f"{output}, {load}{volts}"


def wire_words(valve: Valve, told: Told) -> str:
    length = valve.shown("wire_length_m", told.system, "length ?")
    return f"{length}, {valve.shown('wire_section_mm2', told.system, 'section ?')}"


def valves_in_words(plant: SitePlant, controller: Controller, told: Told) -> list[dict[str, object]]:
    """The same as a table, for whom a picture tells nothing."""
    return [
        {
            "terminal": valve.terminal,
            "name": valve.name,
            "is_master": valve.is_master,
            "zones": zone_names(plant, valve),
            "flow": told.amount(plant.flow_l_min(valve.id), "flow"),
            "wire": wire_words(valve, told),
            "measured": told.measured.get(valve.id, ""),
            "faults": told.at_valve(plant, valve),
        }
        for valve in plant.valves_on(controller.id)
    ]


def _power(
    drawing: Drawing, controller: Controller, faults: tuple[str, ...], hot_x: float, common_x: float, y: float
) -> None:
    """The low-voltage source between hot and common, above the outputs."""
    middle = hot_x + 62
    signs = {"ac24": ("hot", "common"), "dc24": ("+", "−"), "latching": ("pulse", "common")}[controller.output]
    drawing.add(
        Line(((hot_x, y), (middle - 19, y)), "ink", 2.5), Line(((middle + 19, y), (common_x, y)), "soft", 2.5)
    )
    drawing.extend(_source(controller, middle, y))
    drawing.add(Words(hot_x - 12, y - 8, signs[0], SMALL, True))
    drawing.add(Words(common_x + 8, y - 8, signs[1], SMALL, True, "end"))
    left, room = middle + 30, common_x - middle - 40
    drawing.extend(lines([power_words(controller)], faults, left, y + 16, room))


def _source(controller: Controller, x: float, y: float) -> list[Mark]:
    return symbols.transformer(x, y) if controller.output == "ac24" else symbols.battery(x, y)


def _wire(row: _Row, y: float, hot_x: float, common_x: float) -> tuple[list[Mark], float]:
    """One output; the marks and the height below its line."""
    box_x, coil_x = hot_x + 38, hot_x + 110
    known = row.label != "?"
    wide = 30.0 if len(row.label) < 4 else 48.0
    marks: list[Mark] = [box(box_x, y - 11, wide, 22, dashed=not known, stroke="ink" if known else "soft")]
    marks.append(Words(box_x + wide / 2, y + 5, row.label, TEXT, True, "middle"))
    if not row.figures:
        marks.append(Words(box_x + wide + 10, y + 4, "free", SMALL, tone="soft"))
        return marks, 12.0
    if known:
        marks = [Line(((hot_x, y), (hot_x + 8, y))), *symbols.contact(hot_x + 8, y), *marks]
        marks.append(Line(((hot_x + 34, y), (box_x, y))))
    marks.append(Line(((box_x + wide, y), (coil_x - 13, y)), dashed=not known))
    marks += symbols.coil(coil_x, y)
    marks.append(Line(((coil_x + 13, y), (common_x, y)), "soft", dashed=not known))
    left, room = coil_x + 24, common_x - coil_x - 34
    name, figures = row.name, row.figures
    if room > 300:
        name, figures = f"{name} · {row.zones}" if row.zones else name, ("; ".join(figures),)
    elif row.zones:
        figures = (row.zones, *figures)
    marks.append(Words(left, y - 6, fitted(name, TEXT, room, bold=True), TEXT, True))
    return marks + lines(figures, row.faults, left, y + 14, room), 6.0 + 15.0 * (len(figures) + len(row.faults))


def _legend(controller: Controller, rows: list[_Row]) -> list[tuple[list[Mark], str]]:
    source = (_source(controller, 0, 0), "transformer" if controller.output == "ac24" else "source")
    entries = [source, (symbols.contact(-14, 4), "output of the controller"), (symbols.coil(0, 0), "coil")]
    entries.append(([box(-15, -11, 30, 22), Words(0, 5, "3", TEXT, True, "middle")], "terminal"))
    if any(row.label == PUMP_OUTPUT for row in rows):
        entries.append(
            ([box(-15, -11, 30, 22), Words(0, 5, PUMP_OUTPUT, TEXT, True, "middle")], "output to the pump relay")
        )
    unknown: list[Mark] = [box(-15, -11, 30, 22, dashed=True, stroke="soft"), Words(0, 5, "?", TEXT, True, "middle")]
    return [*entries, (unknown, "terminal not recorded"), (symbols.fault(0, 0), "open fault")]
