import datetime as dt
import textwrap
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import CommandError, CommandParser

from jobs.actions.planning import plan_season
from jobs.actions.visits import generate_visits
from jobs.core.routing.season import Progress
from jobs.models import PlanRun, SeasonWindow, VisitKind
from jobs.queries.planning import firm_today
from jobs.queries.season_board import usual_days
from sites.management import FirmCommand

SHOWN_UNPLACED = 20


class Command(FirmCommand):
    help = (
        "Assign a season's open visits to technicians and days, and store the routes. Promised, started and "
        "finished visits stay where they are. Make the visits first, on the season board or with --make-visits. "
        "Without --from and --to the plan runs from the first opening of the season's windows, tomorrow at the "
        "earliest, to their last deadline. The same data and --seed give the same plan unless --seconds cuts the "
        "search short."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("year", type=int, metavar="YEAR", help="the season, e.g. 2026")
        parser.add_argument(
            "--kind",
            action="append",
            metavar="KIND",
            help=f"only this kind of visit; can be repeated: {', '.join(VisitKind.values)}. Default: all",
        )
        parser.add_argument(
            "--make-visits", action="store_true", help="first make the visits that the service plans ask for"
        )
        parser.add_argument("--from", dest="first", metavar="YYYY-MM-DD", help="first day of the plan")
        parser.add_argument("--to", dest="last", metavar="YYYY-MM-DD", help="last day of the plan")
        parser.add_argument("--keep-planned", action="store_true", help="plan only visits without a day")
        parser.add_argument("--spread", action="store_true", help="spread visits of all kinds through their windows")
        parser.add_argument("--seed", type=int, default=1, help="another number tries another way; default: 1")
        parser.add_argument("--seconds", type=int, help="stop searching after so long; default: no limit")

    def handle(self, *args: Any, **options: Any) -> None:
        kinds = self._kinds(options["kind"])
        first, last = self._days(options, kinds)
        if options["seconds"] is not None and options["seconds"] < 1:
            raise CommandError("--seconds must be at least 1.")
        if not 0 <= options["seed"] < 2**31:
            raise CommandError("--seed must lie between 0 and 2147483647.")
        self.shown = ""
        try:
            if options["make_visits"]:
                made = generate_visits(season_year=options["year"], by=None, today=firm_today())
                self.stdout.write(f"{made} visits of {options['year']} made.")
            run = PlanRun(
                season_year=options["year"],
                kinds=kinds,
                first_day=first,
                last_day=last,
                seed=options["seed"],
                seconds=options["seconds"],
                keep_planned=options["keep_planned"],
                spread=options["spread"],
            )
            done = plan_season(run=run, progress=self._progress)
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        self._tell(done)

    def _kinds(self, asked: list[str] | None) -> list[str]:
        unknown = sorted(set(asked or []) - set(VisitKind.values))
        if unknown:
            raise CommandError(f"No kind of visit {', '.join(unknown)}. Known: {', '.join(VisitKind.values)}.")
        return asked or VisitKind.values

    def _days(self, options: dict, kinds: list[str]) -> tuple[dt.date, dt.date]:
        today = firm_today()
        ahead = SeasonWindow.objects.filter(season_year=options["year"], kind__in=kinds, due_on__gt=today)
        if not ahead and not (options["first"] and options["last"]):
            raise CommandError(f"Season {options['year']} has no window ahead: give --from and --to.")
        usual_first, usual_last = usual_days(today, list(ahead))
        first = self._date("--from", options["first"]) or usual_first
        return first, self._date("--to", options["last"]) or max(first, usual_last)

    def _date(self, option: str, text: str | None) -> dt.date | None:
        try:
            return dt.date.fromisoformat(text) if text else None
        except ValueError as error:
            raise CommandError(f"{option} {text!r} is not a date: write YYYY-MM-DD.") from error

    def _progress(self, step: Progress) -> None:
        if self.stdout.isatty():
            words = f"{step.stage}: {step.share:.0%}, {step.unplaced} not placed, {step.drive_min:.0f} min driving"
            self.stdout.write(words.ljust(78), ending="\r")
            self.stdout.flush()
        elif step.stage != self.shown:  # a log gets one line a stage
            self.shown = step.stage
            self.stdout.write(f"{step.stage}: {step.unplaced} not placed, {step.drive_min:.0f} min driving")

    def _tell(self, done: Any) -> None:
        self.stdout.write(
            f"{done.asked} visits to plan: {done.newly_planned} newly planned, {done.moved} moved, {done.stayed} "
            f"stayed, {len(done.unplaced)} not placed; {done.held} fixed before."
        )
        self.stdout.write(
            f"{done.drive_min:.0f} min of driving, {done.drive_km:.0f} km on {done.days_used} days "
            f"(began with {done.began_with}: {done.drive_min_first:.0f} min; stored before: "
            f"{done.drive_min_before:.0f} min). Travel times: {done.travel_source}."
        )
        for text in done.warnings:
            self.stderr.write(text)
        for row in done.unplaced[:SHOWN_UNPLACED]:
            free = f" Would free it: {'; '.join(row.remedies)}." if row.remedies else ""
            self.stdout.write(textwrap.indent(f"not placed: {row.site}, {row.kind}: {row.reason}.{free}", "  "))
        if len(done.unplaced) > SHOWN_UNPLACED:
            self.stdout.write(f"  ... and {len(done.unplaced) - SHOWN_UNPLACED} more, listed on the season board")
