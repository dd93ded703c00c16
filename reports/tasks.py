from celery import shared_task
from django.utils import timezone

from jobs.queries.planning import firm_today
from reports.actions import appointments, deliveries


@shared_task(ignore_result=True)
def send_waiting_deliveries() -> None:
    """Send what waits in the ledger. Called after an order and every minute, so a lost message heals itself."""
    deliveries.send_due(now=timezone.now())


@shared_task(ignore_result=True)
def tell_clients() -> None:
    """Find what clients must be told of their appointments and send it. Called after a change and every minute."""
    appointments.find_changes(today=firm_today())
    appointments.send_due(now=timezone.now())


@shared_task(ignore_result=True)
def send_reminders() -> None:
    """Remind clients of tomorrow's visits. Repeating it sends nothing twice."""
    appointments.order_reminders(today=firm_today())
    appointments.send_due(now=timezone.now())
