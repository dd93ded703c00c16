import importlib
import json
import pkgutil
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from config import bench


def names() -> list[str]:
    return sorted(module.name for module in pkgutil.iter_modules(bench.__path__))


class Command(BaseCommand):
    help = "Measure: one line a figure, medians where it says so. Compare only figures of one run. Writes nothing."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", choices=[*names(), "all"], help="Which benchmark.")
        parser.add_argument("--json", action="store_true", help="One JSON object a line.")

    def handle(self, *args: Any, name: Any, **options: Any) -> None:
        for chosen in names() if name == "all" else [name]:
            try:
                for figure in importlib.import_module(f"config.bench.{chosen}").run():
                    self.stdout.write(json.dumps(figure) if options["json"] else _line(figure))
            except (ImportError, OSError) as error:
                raise CommandError(f"The benchmark {chosen} cannot run here: {error}") from error


def _line(figure: dict) -> str:
    against = f", against {figure['against']}" if figure.get("against") else ""
    return f"{figure['bench']} {figure['name']}: {figure['value']} {figure['unit']} (n {figure['n']}{against})"
