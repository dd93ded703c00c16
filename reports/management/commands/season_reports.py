from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from reports.actions import deliveries, documents
from reports.forms import suggested_recipients
from reports.tasks import send_waiting_deliveries
from sites.management import FirmCommand
from sites.models import Site


class Command(FirmCommand):
    help = (
        "Make the season reports of all sites, or of those named, and with --send mail each to its client. "
        "Safe to repeat: an unchanged report is not made again, and nobody gets the same version twice."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("season_year", type=int, nargs="?", help="Default: this year.")
        parser.add_argument("--site", type=int, nargs="+", metavar="ID", help="Only these sites.")
        parser.add_argument("--send", action="store_true", help="Queue and send each to its client's address.")

    def handle(self, *args: Any, season_year: Any, site: Any, send: Any, **options: Any) -> None:
        year = season_year or timezone.localdate().year
        if not 2000 <= year <= 2100:
            raise CommandError(f"{year} is not a season: give a year between 2000 and 2100.")
        chosen = Site.objects.current().select_related("client", "weather_station").order_by("pk")
        if site:
            chosen = chosen.filter(pk__in=site)
            unknown = sorted(set(site) - set(chosen.values_list("pk", flat=True)))
            if unknown:
                raise CommandError(f"There is no current site with the id {', '.join(map(str, unknown))}.")
        without_address = []
        for number, row in enumerate(chosen, start=1):
            made = documents.make_season_report(site=row, season_year=year, by=None)
            self.stdout.write(f"{number}/{len(chosen)} {row.name}: version {made.version}")
            address = suggested_recipients(row)
            if send and address:
                deliveries.queue_delivery(document=made, recipients=[address], by=None)
            elif send:
                without_address.append(row.name)
        if send:
            send_waiting_deliveries.delay_on_commit()
        for name in without_address:
            self.stderr.write(f"Not sent, the client has no address or wants none: {name}")
