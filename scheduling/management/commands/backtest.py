import csv
import json
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from scheduling.core.water import demand, soil
from scheduling.core.water.backtest import SETTINGS
from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.derivation import CannotCompute
from scheduling.core.water.zone_inputs import ZoneInputs
from scheduling.queries.backtest import MADE_UP_AREA_M2, ZoneBacktest, station_record, zone_backtest
from sites.models import WeatherStation

COLUMNS = (
    "date", "eto_mm", "demand_mm", "rain_mm", "forecast_rain_mm", "irrigation_net_mm", "depletion_mm",
)  # fmt: skip
WAYS = "; ".join(f"{setting}: {words}" for setting, words in SETTINGS.items())


class Command(BaseCommand):
    help = (
        "Follow the advice for a made-up zone through every recorded year of a station: net water, waterings and "
        "mornings on which the depletion lies above the readily available water. The advice knows the normals of the "
        "other years, never the rain that fell. It starts in the middle of a cycle."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--station", required=True, metavar="CODE", help="the weather station's code")
        parser.add_argument("--planting", required=True, choices=list(demand.PLANTINGS))
        parser.add_argument("--soil", default=soil.DEFAULT_TEXTURE, choices=list(soil.TEXTURES))
        parser.add_argument("--root-depth-m", type=float, metavar="M", help="default: usual for the planting")
        parser.add_argument("--set", dest="setting", default="weekly", choices=list(SETTINGS), help=WAYS)
        parser.add_argument(
            "--days", type=Path, metavar="FILE.csv", help="a row a day; depletion_mm stands on the day's morning"
        )
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        found = self._backtest(options)
        if options["days"]:
            self._write_days(options["days"], found)
        summary = found.summary()
        if options["json"]:
            self.stdout.write(json.dumps(summary))
            return
        for name, value in summary.items():
            self.stdout.write(f"{name:22} {value:g}")

    def _backtest(self, options: dict) -> ZoneBacktest:
        station = WeatherStation.objects.filter(code=options["station"]).first()
        if station is None:
            known = ", ".join(WeatherStation.objects.order_by("code").values_list("code", flat=True)) or "none"
            raise CommandError(f"No weather station has the code {options['station']!r}. Known: {known}.")
        zone = ZoneInputs(
            planting=options["planting"],
            emitter="rotor",
            latitude=station.latitude,
            area_m2=MADE_UP_AREA_M2,
            soil_texture=options["soil"],
            root_depth_m=options["root_depth_m"],
        )
        try:
            found = zone_backtest(station_record(station), zone, options["setting"])
        except WaterInputError as error:
            raise CommandError(str(error)) from error
        if isinstance(found, CannotCompute):
            raise CommandError(" and ".join(found.needs))
        return found

    def _write_days(self, path: Path, found: ZoneBacktest) -> None:
        days, balance = found.record.days, found.replay.balance
        figures = (
            days.et_mm, balance.demand_mm[:, 0], days.rain_mm, found.forecast_rain_mm, balance.irrigation_mm[:, 0],
            found.morning_mm,
        )  # fmt: skip
        try:
            with path.open("w", newline="", encoding="utf-8") as file:
                writer = csv.writer(file)
                writer.writerow(COLUMNS)
                for date, *row in zip(days.dates.tolist(), *(column.tolist() for column in figures), strict=True):
                    writer.writerow([date.isoformat(), *(f"{value:.4f}" for value in row)])
        except OSError as error:
            raise CommandError(f"Cannot write {path}: {error.strerror}.") from error
