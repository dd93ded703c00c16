"""Commands that speak of the firm's figures: in its units, dates and numbers written its way."""

from typing import Any

from django.core.management.base import BaseCommand

from sites.models import Firm


class FirmCommand(BaseCommand):
    """A command of a firm that is set up; its row is read once."""

    def execute(self, *args: Any, **options: Any) -> str | None:
        with Firm.remembered():
            return super().execute(*args, **options)
