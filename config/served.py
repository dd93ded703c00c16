"""A real server process on an empty data folder, for tests and benchmarks that need one they can also kill."""

import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from typing import Any

BASE_DIR = Path(__file__).resolve().parent.parent
PATIENCE_S = 60


class Served:
    """gunicorn on a free port of localhost. `prepare` once, then `start`, `kill` and `start` again at will."""

    def __init__(self, data_dir: Path, *, workers: int = 2, threads: int = 4, database_url: str = "") -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.url = f"http://localhost:{self.port}"
        self.data_dir, self.workers, self.threads = data_dir, workers, threads
        self.database_url = database_url  # empty: a SQLite file in the data folder
        self.process: subprocess.Popen | None = None

    @property
    def database(self) -> Path:
        return self.data_dir / "rillbook.sqlite3"

    def environment(self) -> dict[str, str]:
        kept = {name: os.environ[name] for name in ("PATH", "HOME", "LANG") if name in os.environ}
        database = {"DATABASE_URL": self.database_url} if self.database_url else {}
        return (
            kept
            | database
            | {
                "RILLBOOK_DATA_DIR": str(self.data_dir),
                "RILLBOOK_LOG_LEVEL": "CRITICAL",
                "DJANGO_SETTINGS_MODULE": "config.served_settings",
            }
        )

    def run(self, *command: str) -> str:
        """Run Python in the server's world; its output."""
        done = subprocess.run(  # noqa: S603 - our own code
            [sys.executable, *command],
            cwd=BASE_DIR,
            env=self.environment(),
            check=True,
            stdout=subprocess.PIPE,
            text=True,
        )
        return done.stdout

    def shell(self, code: str) -> str:
        """Run code with the models at hand; its output."""
        return self.run("manage.py", "shell", "--no-imports", "--command", code)

    def prepare(self, *, static: bool = False, **day: int) -> dict[str, Any]:
        """Tables, hashed static files if wanted, and a day to work on; see `make_day` for what comes back."""
        self.run("manage.py", "migrate", "--verbosity", "0")
        if static:
            # The API's documentation is most of the files, and nobody here reads it.
            self.run("manage.py", "collectstatic", "--noinput", "--verbosity", "0", "-i", "drf_spectacular_sidecar")
        code = f"import json; from config.served_day import make_day; print(json.dumps(make_day(**{day!r})))"
        return json.loads(self.shell(code))

    def start(self) -> None:
        command = [
            sys.executable, "-m", "gunicorn", "config.wsgi", "--bind", f"127.0.0.1:{self.port}", "--workers",
            str(self.workers), "--threads", str(self.threads), "--worker-class", "gthread", "--log-level", "critical",
        ]  # fmt: skip
        # A session of its own, so that killing it takes master and workers together, as a power cut would.
        self.process = subprocess.Popen(command, cwd=BASE_DIR, env=self.environment(), start_new_session=True)  # noqa: S603
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline:
            try:
                with urllib.request.urlopen(f"{self.url}/healthz", timeout=2):  # noqa: S310 - localhost
                    return
            except OSError:
                time.sleep(0.05)
        raise RuntimeError("the server did not come up")

    def kill(self) -> None:
        """At once and without goodbye: kill -9 for every process of the server."""
        if self.process is not None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
            self.process = None
