"""Meter readings of the ohmmeter kind: what is measured at a valve, as physics and the valve's story have it."""

import datetime as dt
import random

from config.demo.dice import dealt_uuid
from config.demo.stories import Trouble, ValveStory
from jobs.models import ValveMeasurement, Visit, VisitKind
from sites.core.electrical import expected_at_terminals_ohm, loop_ohm, parallel_ohm
from sites.models import Valve

# Wire and coil temperature by kind of visit, degC, low and high: plausible for the place and season, no source.
TEMPERATURE_C = {
    VisitKind.STARTUP: (7, 15),
    VisitKind.MID_SEASON: (17, 27),
    VisitKind.WINTERISATION: (4, 12),
    VisitKind.REPAIR: (10, 22),
}
AIR_KPA = (140, 181)  # below what any pipe takes
SUPPLY_V = (25.2, 26.8)  # at the output under load: common practice


def measurement(
    *,
    visit: Visit,
    valve: Valve,
    twins: list[Valve],
    story: ValveStory | None,
    number: int,
    at: dt.datetime,
    flow_l_min: float | None,
    rng: random.Random,
) -> ValveMeasurement:
    """One row; `twins` are all valves on the same terminal, read in parallel by any meter.

    `story` None is a sound valve, e.g. after a repair; `number` is the place of the visit in the site's history.
    """
    trouble = story.trouble if story is not None and story.troubled_at(number) else Trouble.NONE
    low, high = TEMPERATURE_C[VisitKind(visit.kind)]
    temperature_c = float(rng.randint(low, high))
    row = ValveMeasurement(
        uuid=dealt_uuid(rng),
        visit=visit,
        valve=valve,
        temperature_c=temperature_c,
        opens="no" if trouble in (Trouble.OPEN, Trouble.SHORT, Trouble.STUCK) else "yes",
        closes="weeps" if trouble == Trouble.WEEPS else "yes",
        measured_at=at,
        measured_by_id=visit.technician_id,
    )
    if visit.kind == VisitKind.WINTERISATION and row.opens == "yes":
        row.air_pressure_kpa = float(rng.randrange(*AIR_KPA, 5))
        row.air_min = rng.randint(3, 10) / 2
    if trouble == Trouble.OPEN:
        row.open_circuit = True
        return row
    assert valve.coil_resistance_ohm and valve.coil_holding_va and valve.wire_length_m and valve.wire_section_mm2
    extra_ohm = (
        0.0 if story is None or trouble != Trouble.DRIFT else story.extra_share(number) * valve.coil_resistance_ohm
    )
    expected = [_terminal_ohm(one, temperature_c) + (extra_ohm if one == valve else 0.0) for one in twins]
    ohm = 3.0 if trouble == Trouble.SHORT else parallel_ohm(*expected) * rng.gauss(1, 0.015)
    row.coil_resistance_ohm = round(ohm, 1)
    if trouble == Trouble.SHORT:
        return row
    current_a = valve.coil_holding_va / 24
    wire_ohm = loop_ohm(valve.wire_length_m, valve.wire_section_mm2, None, temperature_c) + extra_ohm / 3
    row.voltage_v = round(rng.uniform(*SUPPLY_V) - current_a * wire_ohm, 1)
    row.current_a = round(current_a * rng.gauss(1, 0.04), 3)
    if flow_l_min and row.opens == "yes" and visit.kind != VisitKind.WINTERISATION:
        row.flow_l_min = round(flow_l_min * rng.gauss(1, 0.03), 1)
    return row


def _terminal_ohm(valve: Valve, temperature_c: float) -> float:
    assert valve.coil_resistance_ohm and valve.wire_length_m and valve.wire_section_mm2
    return expected_at_terminals_ohm(
        valve.coil_resistance_ohm, valve.wire_length_m, valve.wire_section_mm2, None, temperature_c
    )
