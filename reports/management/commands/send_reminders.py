from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from jobs.queries.planning import firm_now
from reports.actions import appointments


class Command(BaseCommand):
    help = (
        "Remind clients of tomorrow's promised visits by e-mail, and tell them of changes that wait. May be run as "
        "often as you like: nobody is told anything twice."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        now = firm_now()
        today = now.date()
        changes = appointments.find_changes(today=today, clock=now.time())
        reminders = appointments.order_reminders(today=today)
        sent = appointments.send_due(now=timezone.now())
        self.stdout.write(f"{reminders} reminders and {changes} changes found, {sent} mails sent.")
