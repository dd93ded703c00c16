import datetime as dt
import zoneinfo
from collections.abc import Iterable
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from scheduling.actions.schedules import ScheduleError, compute_many, publish
from scheduling.models import SeasonSchedule
from sites.management import FirmCommand
from sites.models import Firm, Site


class Command(FirmCommand):
    help = (
        "Compute the season schedule of every site (or of some) as a draft: minutes by zone and month, "
        "programs for this week. A draft that somebody edited stays. --publish publishes what was computed."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--site", type=int, action="append", metavar="ID", help="only this site; can be repeated")
        parser.add_argument("--publish", action="store_true", help="publish the drafts just computed")
        parser.add_argument("--date", metavar="YYYY-MM-DD", help="compute as of this day; default: today")
        parser.add_argument("--month", type=int, metavar="1-12", help="programs for this month's normal")

    def handle(self, *args: Any, **options: Any) -> None:
        today = self._date(options["date"])
        if options["month"] is not None and not 1 <= options["month"] <= 12:
            raise CommandError(f"--month {options['month']} is not a month: give 1 to 12.")
        sites = Site.objects.current()
        if options["site"]:
            missing = sorted(set(options["site"]) - set(sites.values_list("pk", flat=True)))
            if missing:
                raise CommandError(f"No site has the id {', '.join(map(str, missing))}.")
            sites = sites.filter(pk__in=options["site"])
        schedules = compute_many(sites=sites, today=today, by=None, month=options["month"], progress=self._progress)
        lacking = sum(len(schedule.not_computed) for schedule in schedules)
        warned = sum(bool(schedule.warnings) for schedule in schedules)
        self.stdout.write(
            f"{len(schedules)} schedules computed, {warned} with warnings, {lacking} zones need more data."
        )
        if options["publish"]:
            self._publish(schedules)

    def _publish(self, schedules: Iterable[SeasonSchedule]) -> None:
        published, refused = 0, []
        for schedule in schedules:
            if not schedule.basis["zones"]:
                continue
            try:
                publish(schedule=schedule, by=None)
                published += 1
            except ScheduleError as error:
                refused.append(f"Not published: {schedule.site}: {error}")
        self.stdout.write(f"{published} schedules published.")
        for words in refused:
            self.stderr.write(words)
        if refused:
            raise CommandError(f"{len(refused)} schedules were not published.")

    def _date(self, text: str | None) -> dt.date:
        if text is None:
            return timezone.localdate(timezone=zoneinfo.ZoneInfo(Firm.current().time_zone))
        try:
            return dt.date.fromisoformat(text)
        except ValueError as error:
            raise CommandError(f"{text!r} is not a date: write YYYY-MM-DD.") from error

    def _progress(self, done: int, total: int) -> None:
        if self.stdout.isatty() or done == total or done % 500 == 0:
            self.stdout.write(f"{done} of {total} sites", ending="\r" if self.stdout.isatty() else "\n")
            self.stdout.flush()
