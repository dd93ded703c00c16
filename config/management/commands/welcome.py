import socket
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from sites.models import User

WELCOME = """
Rillbook is at http://localhost:{port}/  (stop it with Ctrl-C)

Sign in as          user name   to see
  the office        office      season, day plan, sites, watering, faults, reports
  the owner         owner       the same, people and the admin at /admin/
  a technician      tech1       today's stops (look at it phone-wide)
  a client          client1     own sites and published reports
"""


class Command(BaseCommand):
    help = "Print what to open and with which demo users. Used by `make run`."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000)

    def handle(self, *args: Any, port: Any, **options: Any) -> None:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                raise CommandError(f"Port {port} is taken by another program. Choose one: make run PORT={port + 1}")
        self.stdout.write(WELCOME.format(port=port))
        if User.objects.filter(username="tech1").exists():
            self.stdout.write("The demo password is water-the-garden-26 (unless you changed it).\n\n")
