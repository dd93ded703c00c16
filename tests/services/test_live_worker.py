"""A real Celery worker on Redis, a real database, a real mail server: an order on the page becomes one mail."""

import os
import subprocess
import sys
import time

import pytest
from django.conf import settings
from django.db import connection

from config.celery import app
from reports.actions import deliveries, documents
from reports.models import Delivery
from reports.tasks import send_waiting_deliveries
from tests.reports.mail_server import MailServer

pytestmark = [
    pytest.mark.services,
    pytest.mark.skipif(
        not os.environ.get("REDIS_URL") or "postgres" not in os.environ.get("DATABASE_URL", ""),
        reason="needs REDIS_URL and a PostgreSQL DATABASE_URL; see .ci/services",
    ),
]
PATIENCE_S = 60


@pytest.fixture
def mail_server():
    server = MailServer()
    server.start()
    yield server
    server.stop()


@pytest.fixture
def worker(transactional_db, mail_server, tmp_path):
    """A worker process on the test database, sending to the test's mail server, with a queue of its own."""
    base = os.environ["DATABASE_URL"].rpartition("/")[0]
    queue = f"test-{os.getpid()}"
    environment = {
        **os.environ,
        "DATABASE_URL": f"{base}/{connection.settings_dict['NAME']}",
        "EMAIL_URL": f"smtp://127.0.0.1:{mail_server.port}",
        "RILLBOOK_DATA_DIR": str(tmp_path),
    }
    log = (tmp_path / "worker.log").open("wb")
    process = subprocess.Popen(
        [sys.executable, "-m", "celery", "-A", "config", "worker", "-P", "solo", "-Q", queue, "-l", "info"],
        cwd=settings.BASE_DIR,
        env=environment,
        stdout=log,
        stderr=subprocess.STDOUT,
    )
    yield queue
    process.terminate()
    process.wait(20)
    log.close()


def test_an_order_reaches_the_client_through_a_live_worker(worker, mail_server, site, office, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "media"  # where the worker looks too
    app.conf.task_always_eager = False
    report = documents.make_season_report(site=site, season_year=2026, by=office)
    [delivery] = deliveries.queue_delivery(document=report, recipients=["hazel@example.com"], by=office)
    send_waiting_deliveries.apply_async(queue=worker)

    waited_until = time.monotonic() + PATIENCE_S
    while time.monotonic() < waited_until:
        delivery.refresh_from_db()
        if delivery.state == Delivery.State.SENT:
            break
        time.sleep(0.3)

    assert delivery.state == Delivery.State.SENT, (tmp_path / "worker.log").read_text()[-2000:]
    assert [mail["Message-ID"] for mail in mail_server.accepted] == [delivery.message_id]
