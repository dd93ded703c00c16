import datetime as dt
import sys
import time
from typing import Any
from zoneinfo import ZoneInfo

from django.core.management.base import BaseCommand, CommandError, CommandParser, OutputWrapper
from django.utils import timezone

from config.demo.load import DemoRefused, already_loaded, has_other_data, load_demo
from config.demo.names import FIRM, PASSWORD
from config.demo.places import TIME_ZONE


class Command(BaseCommand):
    help = (
        "Load the invented demo firm into an empty database: people, sites, plant, weather, schedules, visits. "
        "The same seed and date give the same firm. A second run changes nothing. "
        "Exit code 0: loaded or already there; 1: refused, with the reason in one line."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--sites", type=int, default=60, help="number of sites (default 60, at least 6)")
        parser.add_argument("--seed", type=int, default=1, help="another seed makes another firm (default 1)")
        parser.add_argument(
            "--units", choices=["metric", "us"], default="metric", help="what the firm measures in (default metric)"
        )
        parser.add_argument(
            "--today", type=dt.date.fromisoformat, help="the day of the firm's clock, YYYY-MM-DD (default: today)"
        )
        parser.add_argument(
            "--if-empty", action="store_true", help="do nothing, without an error, if there is any data already"
        )

    def handle(
        self, *, sites: Any, seed: Any, today: Any, if_empty: Any, units: Any, verbosity: Any, **options: Any
    ) -> None:
        loaded = already_loaded()
        if loaded:
            self.stdout.write(
                f"The demo firm is already here ({loaded.sites} sites, seed {loaded.seed}, as of {loaded.today}); "
                "nothing changed."
            )
            return
        if if_empty and has_other_data():
            self.stdout.write("This database already has data; nothing changed.")
            return
        today = today or timezone.localdate(timezone=ZoneInfo(TIME_ZONE))
        started = time.monotonic()
        progress = ProgressLine(self.stdout if verbosity else None)
        try:
            load_demo(sites=sites, seed=seed, today=today, progress=progress, units=units)
        except DemoRefused as reason:
            raise CommandError(str(reason)) from None
        finally:
            progress.end()
        self.stdout.write(f"{FIRM}: {sites} sites as of {today}, in {time.monotonic() - started:.0f} s.")
        self.stdout.write(f"Sign in as owner, office, tech1, tech2, tech3, client1 or client2, password {PASSWORD}")


class ProgressLine:
    """One line that is written over on a terminal; elsewhere one line when a part is done."""

    def __init__(self, out: OutputWrapper | None) -> None:
        self.out = out
        self.on_terminal = out is not None and sys.stdout.isatty()
        self.drawn = False

    def __call__(self, part: str, done: int, total: int) -> None:
        if self.out is None:
            return
        if self.on_terminal:
            self.out.write(f"\r{part} {done} of {total}".ljust(60), ending="")
            self.out.flush()
            self.drawn = True
        elif done == total:
            self.out.write(f"{part}: {total}")

    def end(self) -> None:
        if self.out and self.drawn:
            self.out.write("")
