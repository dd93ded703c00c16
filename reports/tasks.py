import datetime as dt
from typing import Final

from celery import shared_task
from django.conf import settings
from django.utils import timezone

from jobs.queries.planning import firm_now, firm_today
from reports.actions import appointments, bulk, deliveries
from reports.models import BulkJob
from sites.tasks import start_command

# Far below CELERY_TASK_TIME_LIMIT.
BULK_TASK_S: Final = 240


@shared_task(ignore_result=True)
def send_waiting_deliveries() -> None:
    """Send what waits in the ledger. Called after an order and every minute, so a lost message heals itself."""
    deliveries.send_due(now=timezone.now())


@shared_task(ignore_result=True)
def tell_clients() -> None:
    """Find what clients must be told of their appointments and send it. Called after a change and every minute."""
    now = firm_now()
    appointments.find_changes(today=now.date(), clock=now.time())
    appointments.send_due(now=timezone.now())


@shared_task(ignore_result=True)
def send_reminders() -> None:
    """Remind clients of tomorrow's visits. Repeating it sends nothing twice."""
    appointments.order_reminders(today=firm_today())
    appointments.send_due(now=timezone.now())


@shared_task(ignore_result=True)
def work_bulk_jobs() -> None:
    """Make what waits of bulk jobs, well inside the time a task may take. Called after an order and every minute."""
    now = timezone.now()
    bulk.work(until=now + dt.timedelta(seconds=BULK_TASK_S))
    if BulkJob.objects.under_way().exists() and timezone.now() - now >= dt.timedelta(seconds=BULK_TASK_S):
        work_bulk_jobs.delay()


def start_bulk_work() -> None:
    """Wake workers for bulk jobs once the order is stored.

    With a broker two tasks are called. Without one a process of its own is started, so that the page that ordered
    the job answers at once and hundreds of drawings do not slow the web server.
    """
    if settings.REDIS_URL:
        for _ in range(2):
            work_bulk_jobs.delay_on_commit()
        return
    start_command("bulk_work")
