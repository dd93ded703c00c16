"""A real server process on an empty data folder, for tests and benchmarks that need one they can also kill."""

import datetime as dt
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

    def __init__(self, data_dir: Path, *, workers: int = 2, threads: int = 4) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.url = f"http://localhost:{self.port}"
        self.data_dir, self.workers, self.threads = data_dir, workers, threads
        self.process: subprocess.Popen | None = None

    @property
    def database(self) -> Path:
        return self.data_dir / "rillbook.sqlite3"

    def environment(self) -> dict[str, str]:
        kept = {name: os.environ[name] for name in ("PATH", "HOME", "LANG", "DATABASE_URL") if name in os.environ}
        return kept | {
            "RILLBOOK_DATA_DIR": str(self.data_dir),
            "RILLBOOK_LOG_LEVEL": "ERROR",
            "DJANGO_SETTINGS_MODULE": "config.served_settings",
        }

    def run(self, *command: str) -> str:
        """Run Python in the server's world; its output."""
        return subprocess.run(  # noqa: S603 - our own code
            [sys.executable, *command],
            cwd=BASE_DIR,
            env=self.environment(),
            check=True,
            capture_output=True,
            text=True,
        ).stdout

    def prepare(self, *, static: bool = False, **day: int) -> dict[str, Any]:
        """Tables, hashed static files if wanted, and a day to work on; see `seed_day` for what comes back."""
        self.run("manage.py", "migrate", "--verbosity", "0")
        if static:
            self.run("manage.py", "collectstatic", "--noinput", "--verbosity", "0")
        return json.loads(self.run("-m", "config.served", json.dumps(day)))

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


def seed_day(
    *, technicians: int = 1, visits: int = 1, valves: int = 2, photos: int = 0, kind: str = "winterisation"
) -> dict[str, Any]:
    """A firm with technicians, each with `visits` of today at sites with `valves` each.

    Returns {"people": [{"name", "id", "session", "visits": [{"uuid", "pk", "site", "valves", "items"}]}]};
    `session` is the value of a signed-in session cookie.
    """
    from django.utils import timezone  # noqa: PLC0415 - needs the apps loaded

    from jobs.models import ChecklistTemplate, TechnicianProfile, Visit  # noqa: PLC0415
    from sites.models import Client, Controller, Firm, Site, User, Valve, WaterSupply, Zone  # noqa: PLC0415

    Firm.objects.create(name="Served Test Irrigation", time_zone="UTC")
    items = list(ChecklistTemplate.objects.get(kind=kind, current=True).items.values("pk", "key", "answer"))
    people = []
    for number in range(technicians):
        user = User.objects.create(
            username=f"tech{number}", first_name="Tess", last_name=f"No{number}", role="technician"
        )
        TechnicianProfile.objects.create(user=user)
        own = []
        for place in range(visits):
            name = f"Court {number + 1}.{place + 1}"
            site = Site.objects.create(
                client=Client.objects.create(name=name), name=name, address="1 Test Lane", town="Testham",
                latitude=47.6, longitude=-122.3, time_zone="UTC", access_notes="Gate on the left.",
            )  # fmt: skip
            supply = WaterSupply.objects.create(
                site=site, kind="mains", static_pressure_kpa=420, flow_available_l_min=60
            )
            controller = Controller.objects.create(
                site=site, supply=supply, terminals=max(valves, 1), transformer_va=40
            )
            rows = Valve.objects.bulk_create(
                Valve(
                    controller=controller, terminal=n + 1, name=f"Valve {n + 1}", coil_resistance_ohm=32.0,
                    wire_length_m=60.0, wire_section_mm2=0.823,
                )
                for n in range(valves)
            )  # fmt: skip
            Zone.objects.bulk_create(
                Zone(
                    site=site, valve=valve, number=valve.terminal, name=f"Zone {valve.terminal}", area_m2=100,
                    planting="cool_turf", soil="loam", emitter="rotor", application_rate_mm_h=12,
                    distribution_uniformity=0.65, flow_l_min=20,
                )
                for valve in rows
            )  # fmt: skip
            _photos(site, photos)
            today = timezone.localdate()
            visit = Visit.objects.create(
                site=site, kind=kind, season_year=today.year, opens_on=today, due_on=today + dt.timedelta(days=30),
                technician=user, planned_on=today, position=place, state="planned", service_min=45,
            )  # fmt: skip
            own.append(
                {
                    "uuid": str(visit.uuid),
                    "pk": visit.pk,
                    "site": name,
                    "valves": [row.pk for row in rows],
                    "items": items,
                }
            )
        people.append({"name": str(user), "id": user.pk, "session": _session(user), "visits": own})
    return {"people": people}


def _photos(site, count: int) -> None:
    import io  # noqa: PLC0415

    from django.utils import timezone  # noqa: PLC0415
    from PIL import Image  # noqa: PLC0415

    from sites.actions.photos import store_photo  # noqa: PLC0415

    for shade in range(count):
        file = io.BytesIO()
        Image.new("RGB", (800, 600), (40 * shade % 255, 120, 60)).save(file, "JPEG")
        store_photo(site=site, upload=file, caption=f"Photo {shade + 1}", taken_at=timezone.now(), by=None)


def _session(user) -> str:
    from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY  # noqa: PLC0415
    from django.contrib.sessions.backends.db import SessionStore  # noqa: PLC0415

    session = SessionStore()
    session[SESSION_KEY] = str(user.pk)
    session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
    session[HASH_SESSION_KEY] = user.get_session_auth_hash()
    session.create()
    return session.session_key


if __name__ == "__main__":
    import django

    django.setup()
    print(json.dumps(seed_day(**json.loads(sys.argv[1]))))  # noqa: T201 - read by `prepare`
