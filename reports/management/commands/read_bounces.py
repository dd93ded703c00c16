import mailbox
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from reports.actions.bounces import Bounce, record_all
from reports.core.bounce_files import failures
from sites.management import FirmCommand


class Command(FirmCommand):
    help = (
        "Mark mails that came back, from the mailbox to which bounces go: an mbox file or a Maildir folder. "
        "The mailbox is only read; reading it again changes nothing."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("path", type=Path, help="The mbox file or Maildir folder.")

    def handle(self, *args: Any, path: Any, **options: Any) -> None:
        if not path.exists():
            raise CommandError(f"There is no mailbox at {path}.")
        box = mailbox.Maildir(path, create=False) if path.is_dir() else mailbox.mbox(path, create=False)
        try:
            notices = (notice for message in box for notice in failures(message))
            bounces = (Bounce(notice.message_id, notice.recipient, notice.reason) for notice in notices)
            read, marked = record_all(bounces=bounces, now=timezone.now())
        finally:
            box.close()
        self.stdout.write(f"{read} notices of failure read, {marked} mails marked as come back.")
