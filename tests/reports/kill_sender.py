"""Runs outside the test process: fills an own database with deliveries, or sends what waits. See test_killed_sender.

Usage: kill_sender.py fill COUNT | send MINUTES_FROM_NOW
"""

import datetime as dt
import os
import sys

import django


def fill(count: int) -> None:
    from django.core.files.base import ContentFile
    from django.core.management import call_command

    from reports.actions.deliveries import queue_delivery
    from reports.models import Document
    from tests import factories

    call_command("migrate", verbosity=0)
    site = factories.make_small_site()
    for number in range(count):
        report = Document(
            kind="season_report", site=site, season_year=2026, version=number + 1, title=f"Report {number}"
        )
        report.pdf.save(f"{number}.pdf", ContentFile(b"%PDF-1.4 a stand-in\n" * 50), save=False)
        report.save()
        queue_delivery(document=report, recipients=[f"client{number}@example.com"], by=None)


def send(minutes: float) -> None:
    from django.utils import timezone

    from reports.actions.deliveries import send_due

    sys.stdout.write("started\n")
    sys.stdout.flush()
    send_due(now=timezone.now() + dt.timedelta(minutes=minutes))


def show() -> None:
    from reports.models import Delivery

    for row in Delivery.objects.order_by("pk"):
        sys.stdout.write(f"{row.message_id} {row.state} {row.recipient}\n")


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    django.setup()
    what, *rest = sys.argv[1:]
    {"fill": lambda: fill(int(rest[0])), "send": lambda: send(float(rest[0])), "show": show}[what]()
