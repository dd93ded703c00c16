from typing import Any

from reports.actions import bulk
from reports.tasks import send_waiting_deliveries
from sites.management import FirmCommand


class Command(FirmCommand):
    help = (
        "Make what waits of bulk jobs, then stop. Several may run at once; one that is killed is healed by the next."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        made = bulk.work()
        send_waiting_deliveries()
        self.stdout.write(f"{made} parts made.")
