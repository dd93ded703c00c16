"""Work that outlives the request that asks for it, where no broker calls a worker."""

import subprocess
import sys

from django.conf import settings
from django.db import transaction


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
