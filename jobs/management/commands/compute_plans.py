from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import CommandError

from jobs.actions.planning import sweep_plans
from sites.management import FirmCommand


class Command(FirmCommand):
    help = "Compute the season plans that wait, then stop. A page that asks for one starts this where no broker runs."

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            made = sweep_plans()
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        self.stdout.write(f"{made} plans computed.")
