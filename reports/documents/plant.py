"""What documents print of a site's plant: its blocks and lines, straight from the description of the register."""

from collections.abc import Iterator
from datetime import date

from reports.documents.kit import look
from reports.documents.kit.blocks import Block, Section, Text, paragraph
from reports.documents.kit.page import Firm
from reports.documents.kit.table import Cell, Column, facts, table
from sites.core import writing
from sites.core.plant import Backflow, Controller, Pump, SitePlant, Supply
from sites.core.units import System


def water_and_power(plant: SitePlant, system: System, meters: str, as_of: date) -> list[Block]:
    """Supplies, backflow assemblies, pumps and controllers.

    Meters belong to the site: they stand with the first supply. as_of: a test due before it is overdue.
    """
    blocks: list[Block] = [Section("Water and power")]
    blocks += [_supply(supply, system, "" if number else meters) for number, supply in enumerate(plant.supplies)]
    rows = [*(_backflow(one, as_of) for one in plant.backflows), *_pumps(plant), *map(_controller, plant.controllers)]
    if rows:
        columns = [Column("What", width=104.0), Column("Name and place", share=1.0), Column("Facts", share=1.5)]
        blocks.append(table(columns, rows))
    if len(blocks) == 1:
        blocks.append(paragraph("Nothing is recorded about supply, pump, backflow assembly or controller."))
    return blocks


def power(controller: Controller) -> str:
    """ "24 V AC, 40 VA"."""
    load = f", {controller.transformer_va:g} VA" if controller.transformer_va else ""
    return f"{controller.shown('output')}{load}"


def pump_rule(plant: SitePlant, controller: Controller) -> str:
    """How the pump must be switched, in one line; empty where the controller starts none."""
    supply = plant.supply_of(controller)
    if supply is None or not supply.pumped:
        return ""
    if supply.pump is None:
        return "not in the register; never let it run against closed valves."
    pump = supply.pump
    stop = "closes and at each change of zone" if controller.one_valve_at_a_time else "closes; zones overlap"
    return (
        f"start it {pump.prime_delay_s} s after the first valve is open, stop it before the last one {stop}. "
        f"Runs at least {pump.minimum_run_s} s, rests {pump.minimum_rest_s} s, "
        f"at most {pump.most_starts_per_hour} starts an hour. Never against closed valves."
    )


def who_to_call(firm: Firm, plant: SitePlant, controller: Controller) -> tuple[str, ...]:
    """The firm, and where a shut-off is recorded the order that stops all water: a pump is never shut off against."""
    reach = ", ".join(part for part in (firm.phone, firm.email) if part)
    lines = [f"{firm.name}{': ' if reach else ''}{reach}"]
    supply = plant.supply_of(controller)
    if supply is not None and supply.shutoff_location:
        pumped = supply.kind in ("pump", "well") or supply.pump is not None
        pump_off = "pump off first, then " if pumped else ""
        lines.append(
            f"To stop all water: {pump_off}shut {supply.name}, {supply.shutoff_location}; "
            "not if a building or fire line hangs on it."
        )
    return tuple(lines)


def _supply(supply: Supply, system: System, meters: str) -> Block:
    return facts(
        [
            ("Supply", str(supply)),
            ("Static pressure", supply.shown("static_pressure_kpa", system, "")),
            ("Flow available", supply.shown("flow_available_l_min", system, "")),
            ("Shut-off", supply.shutoff_location),
            ("Meter", meters),
        ]
    )


def _backflow(assembly: Backflow, as_of: date) -> list[Cell]:
    due = f"Test due {writing.long_day(assembly.test_due_on)}" if assembly.test_due_on else "Test date not recorded"
    overdue = assembly.test_due_on is not None and assembly.test_due_on < as_of
    lines = [(f"{due}: OVERDUE" if overdue else due, look.CELL_STRONG)]
    if assembly.last_tested_on:
        lines.append((f"Last test {writing.long_day(assembly.last_tested_on)}", look.CELL))
    return ["Backflow assembly", _two(str(assembly), assembly.location), Text(tuple(lines))]


def _pumps(plant: SitePlant) -> Iterator[list[Cell]]:
    for pump in (supply.pump for supply in plant.supplies):
        if pump is not None:
            yield ["Pump", pump.name, _two(_times(pump), "")]


def _times(pump: Pump) -> str:
    starts = f"most starts {pump.most_starts_per_hour} an hour"
    return f"Prime delay {pump.prime_delay_s} s, shortest run {pump.minimum_run_s} s, {starts}"


def _controller(controller: Controller) -> list[Cell]:
    said = f"{controller.terminals} terminals, {power(controller)}"
    by_hand = "run times set by hand" if controller.set_by_hand else "run times sent to it"
    return ["Controller", _two(controller.name, controller.location), _two(said, by_hand)]


def _two(first: str, second: str) -> Text:
    return Text(((first, look.CELL), (second, look.SMALL)))
