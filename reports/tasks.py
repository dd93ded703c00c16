from celery import shared_task
from django.utils import timezone

from reports.actions import deliveries


@shared_task(ignore_result=True)
def send_waiting_deliveries() -> None:
    """Send what waits in the ledger. Called after an order and every minute, so a lost message heals itself."""
    deliveries.send_due(now=timezone.now())
