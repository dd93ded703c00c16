from pathlib import Path
from typing import Any

import vega_datasets
from django.core.management.base import CommandError, CommandParser

from scheduling.actions.weather import FORMATS, import_station_text
from sites.management import FirmCommand
from sites.models import WeatherStation

SHOWN_PROBLEMS = 20


class Command(FirmCommand):
    help = (
        "Import a weather station's file and compute the reference ET of each day. Days stored before are updated. "
        "With problems in the file nothing is stored unless --keep-good-rows is given; every problem is listed by "
        "row. Formats: " + "; ".join(f"{name} ({words})" for name, words in FORMATS.items()) + "."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        source = parser.add_mutually_exclusive_group(required=True)
        source.add_argument("file", nargs="?", type=Path, help="the station's file, UTF-8 text")
        source.add_argument(
            "--seattle",
            action="store_true",
            help="the measured Seattle series 2012-2015 from the program itself",
        )
        parser.add_argument("--station", required=True, metavar="CODE", help="code of the weather station")
        parser.add_argument("--format", choices=list(FORMATS), default="rillbook", help="default: rillbook")
        parser.add_argument("--keep-good-rows", action="store_true", help="store good rows beside bad ones")

    def handle(self, *args: Any, **options: Any) -> None:
        station = WeatherStation.objects.filter(code=options["station"]).first()
        if station is None:
            known = ", ".join(WeatherStation.objects.values_list("code", flat=True)[:10]) or "none yet"
            raise CommandError(f"No weather station has the code {options['station']!r}. Known: {known}.")
        path, file_format = options["file"], options["format"]
        if options["seattle"]:
            path, file_format = Path(vega_datasets.__file__).parent / "_data" / "seattle-weather.csv", "seattle"
        done = import_station_text(
            station=station,
            text=self._text(path),
            file_name=path.name,
            file_format=file_format,
            keep_good_rows=options["keep_good_rows"],
            by=None,
        )
        for problem in done.problems[:SHOWN_PROBLEMS]:
            where = f"row {problem['row']}" if problem["row"] else "file"
            self.stderr.write(f"{where}, {problem['column'] or 'all columns'}: {problem['message']}")
        if len(done.problems) > SHOWN_PROBLEMS:
            self.stderr.write(f"... and {len(done.problems) - SHOWN_PROBLEMS} more, listed on the station's page")
        if done.refused:
            raise CommandError(f"Nothing of {path.name} was stored: correct the rows or give --keep-good-rows.")
        self.stdout.write(f"{done.rows_stored} days of {station.name} stored, {done.rows_read} rows read.")

    def _text(self, path: Path) -> str:
        try:
            return path.read_text(encoding="utf-8-sig")
        except OSError as error:
            raise CommandError(f"Cannot read {path}: {error.strerror}.") from error
        except UnicodeDecodeError as error:
            raise CommandError(f"{path.name} is not UTF-8 text (byte {error.start}).") from error
