"""Benchmarks by name, run by `manage.py bench NAME`."""

import os
import subprocess
import sys
from pathlib import Path

BASE = Path(__file__).resolve().parents[2]


def start_in_own_database(folder: str, code: str) -> subprocess.Popen:
    """Start Python code with the models at hand in a process and a database of its own, which leaves the real one
    alone."""
    environment = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
    environment |= {"RILLBOOK_DATA_DIR": folder, "REDIS_URL": ""}
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
