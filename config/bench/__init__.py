"""Benchmarks, one module a name; `run()` yields one dict a figure. Never part of the tests."""

import os
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

BASE = Path(__file__).resolve().parents[2]
RUNS = 5


def median_seconds(work: Callable[[], object]) -> float:
    """Seconds that `work` takes: the median of RUNS."""
    times = []
    for _ in range(RUNS):
        started = time.perf_counter()
        work()
        times.append(time.perf_counter() - started)
    return statistics.median(times)


def start_in_own_database(folder: str, code: str, database_url: str = "") -> subprocess.Popen:
    """Start Python code with the models at hand in a process and a database of its own, which leaves the real one
    alone: SQLite in `folder` where no address is given."""
    environment = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
    environment |= {"RILLBOOK_DATA_DIR": folder, "REDIS_URL": ""}
    if database_url:
        environment["DATABASE_URL"] = database_url
    return subprocess.Popen(  # noqa: S603 - our own interpreter and words
        [sys.executable, "manage.py", "shell", "-v0", "-c", code],
        cwd=BASE, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def output_of(process: subprocess.Popen) -> str:
    """Wait for it; its last line. OSError with the end of its complaint where it failed."""
    out, complaint = process.communicate()
    if process.returncode:
        raise OSError(complaint[-600:])
    return out.strip().rpartition("\n")[2]


def peak_mib() -> float:
    """Most memory this process held. The usual count begins with what the process that started it held."""
    status = Path("/proc/self/status")
    if not status.exists():
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    (peak_kib,) = (line.split()[1] for line in status.read_text().splitlines() if line.startswith("VmHWM"))
    return int(peak_kib) / 1024
