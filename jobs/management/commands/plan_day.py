import datetime as dt
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import CommandError, CommandParser

from jobs.actions.planning import plan_day
from jobs.queries.planning import planning_technicians
from sites.management import FirmCommand
from sites.models import User


class Command(FirmCommand):
    help = (
        "Plan the best route through the visits of a day and store arrival times, lunch and driving; for every "
        "technician or for one. Started and finished visits stay where they are. The same data and --seed give the "
        "same route."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("date", metavar="DATE", help="the day, YYYY-MM-DD")
        parser.add_argument("--technician", metavar="USERNAME", help="only this technician's day")
        parser.add_argument("--seed", type=int, default=1, help="for days too large to solve exactly; default: 1")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            date = dt.date.fromisoformat(options["date"])
        except ValueError as error:
            raise CommandError(f"{options['date']!r} is not a date: write YYYY-MM-DD.") from error
        technician = self._technician(options["technician"])
        try:
            routes = plan_day(date=date, technician=technician, seed=options["seed"], by=None)
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        for route in routes:
            self.stdout.write(
                f"{route.technician}: {route.drive_min:.0f} min of driving, {route.drive_km:.1f} km, "
                f"back {route.back_at:%H:%M}. Travel times: {route.travel_source}."
            )
            for text in route.warnings:
                self.stderr.write(f"  {route.technician}: {text}")
        if not routes:
            self.stdout.write(f"No visits are planned on {date}.")

    def _technician(self, username: str | None) -> User | None:
        if username is None:
            return None
        known = {user.username: user for user in planning_technicians()}
        if username not in known:
            raise CommandError(f"No technician {username!r} with working hours. Known: {', '.join(known) or 'none'}.")
        return known[username]
