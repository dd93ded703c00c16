from typing import Any

from django.utils import timezone

from jobs.queries.planning import firm_now
from reports.actions import appointments
from sites.management import FirmCommand


class Command(FirmCommand):
    help = (
        "Remind clients of tomorrow's promised visits by email, and tell them of changes that wait. May be run as "
        "often as you like: nobody is told anything twice."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        now = firm_now()
        today = now.date()
        changes = appointments.find_changes(today=today, clock=now.time())
        reminders = appointments.order_reminders(today=today)
        sent = appointments.send_due(now=timezone.now())
        self.stdout.write(f"{reminders} reminders and {changes} changes found, {sent} mails sent.")
