"""Watering programs to commands and proof: one large controller's week, five thousand controllers, the simulator."""

import datetime as dt
import statistics
import time
from collections.abc import Iterator
from zoneinfo import ZoneInfo

from scheduling.core.sequence.compile import compile_programs
from scheduling.core.sequence.plant import Plant, Pump, Valve
from scheduling.core.sequence.programs import Program, Step, Weekdays
from scheduling.core.sequence.simulate import nominal_delays, simulate
from scheduling.core.sequence.timeline import Timeline
from scheduling.core.sequence.verify import verify

ZONE = ZoneInfo("America/Los_Angeles")
MONDAY = dt.date(2026, 7, 6)
WEEKS, CONTROLLERS, SIMULATE_FOR_S = 41, 5000, 5.0
ZONES, PROGRAMS = 24, 4


def controller(number: int, zones: int, programs: int) -> tuple[Plant, list[Program]]:
    """A controller with a pump on every second, cycles and soaks on every third program; the same for a number."""
    pump = Pump(prime_delay_s=5 + number % 4) if number % 2 == 0 else None
    plant = Plant(
        valves=tuple(
            Valve(n, f"Valve {n}", 20.0 + n % 7, opens_within_s=3 + (n + number) % 3, closes_within_s=8 + n % 8)
            for n in range(1, zones + 1)
        ),
        interlocked=pump is None and number % 3 == 0,
        pump=pump,
        supply_l_min=60.0,
    )
    made = []
    for place in range(programs):
        steps = tuple(
            Step(n, 8.0 + n % 9, *((2, 20.0) if place % 3 == 2 else (1, 0.0)))
            for n in range(1 + place, zones + 1, programs)
        )
        days = Weekdays(frozenset((place, (place + 2) % 7, (place + 4) % 7)))
        made.append(Program(place + 1, f"Program {place + 1}", (dt.time(4 - place, 30),), days, steps, place + 1))
    return plant, made


def week(plant: Plant, programs: list[Program]) -> Timeline:
    return compile_programs(plant, programs, MONDAY, MONDAY + dt.timedelta(days=6), ZONE)


def run() -> Iterator[dict]:
    plant, programs = controller(0, ZONES, PROGRAMS)
    times, commands = [], 0
    cpu = time.process_time()
    for _ in range(WEEKS):
        started = time.perf_counter()
        timeline = week(plant, programs)
        proved = verify(timeline, plant).ok
        times.append((time.perf_counter() - started) * 1000)
        commands = len(timeline.commands)
    cpu_ms = (time.process_time() - cpu) * 1000 / WEEKS
    kind = f"{ZONES} zones, {PROGRAMS} programs, {commands} commands"
    against = f"{kind}, {'proved' if proved else 'not proved'}; {cpu_ms:.1f} ms of processor time"
    yield _figure("compile_verify_week_ms", round(statistics.median(times), 2), "ms", WEEKS, against)

    weeks = [
        (one, week(one, made)) for one, made in (controller(n, 4 + n % 21, 1 + n % 4) for n in range(CONTROLLERS))
    ]
    started, cpu = time.perf_counter(), time.process_time()
    proofs = sum(verify(timeline, one).ok for one, timeline in weeks)
    seconds = time.perf_counter() - started
    cpu_s = time.process_time() - cpu
    against = f"4 to 24 zones, one core, {proofs} proved, compiling not counted; {cpu_s:.1f} s of processor time"
    yield _figure("verify_5000_controllers_seconds", round(seconds, 1), "s", CONTROLLERS, against)

    delays = nominal_delays(timeline := week(plant, programs), plant)
    count, started = 0, time.perf_counter()
    while time.perf_counter() - started < SIMULATE_FOR_S:
        simulate(timeline, plant, delays)
        count += 1
    rate = count / (time.perf_counter() - started)
    yield _figure(
        "simulated_runs_per_second", round(rate, 1), "1/s", count, f"a week of {len(timeline.commands)} commands"
    )


def _figure(name: str, value: float, unit: str, n: int, against: str) -> dict:
    return {"bench": "sequence", "name": name, "value": value, "unit": unit, "n": n, "against": against}
