"""What tasks share, and work that outlives the request that asks for it where no broker calls a worker."""

import subprocess
import sys
from typing import Any

from celery.contrib.django.task import DjangoTask
from django.conf import settings
from django.db import transaction

from sites.models import Firm


class FirmTask(DjangoTask):
    """A task writes dates, numbers and units as the firm does; its row is read once."""

    abstract = True

    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        with Firm.remembered():
            return super().__call__(*args, **kwargs)


def start_command(name: str) -> None:
    """Once what was ordered is stored: one of our commands in a process of its own.

    The page that ordered it answers at once, and hours of computing do not slow the web server.
    """
    transaction.on_commit(lambda: _start(name))


def _start(name: str) -> None:
    subprocess.Popen(  # noqa: S603 - our own command, nothing a person typed
        [sys.executable, str(settings.BASE_DIR / "manage.py"), name],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
