"""What the meters of a site tell, day by day and over a span."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from scheduling.core.water.checks import Array, WaterInputError
from scheduling.core.water.meter import Reading, Use, consumption
from scheduling.core.water.used import spread_over_days
from scheduling.core.water.volumes import VolumeUnit, to_litres
from sites.core import writing
from sites.models import Meter, Site, WaterSupply

METER_UNIT: dict[str, VolumeUnit] = {
    "m3": "m3", "litre": "L", "us_gallon": "gal", "kgal": "kgal", "ccf": "CCF", "ft3": "ft3",
}  # fmt: skip
USUAL_LARGEST_FLOW_L_MIN = 200.0  # where no supply flow is entered: common practice, no source
HALF_DAY = dt.time(12)
A_DAY = dt.timedelta(days=1)


@dataclass(frozen=True)
class MeterUse:
    """One meter's consumption over a span, between the readings that tell it.

    `litres` is None where the readings do not tell; `remarks` say why or what was assumed.
    """

    meter_id: int
    serial_number: str
    irrigation_only: bool
    litres: float | None
    first_read_on: dt.date | None
    last_read_on: dt.date | None
    estimated: bool
    remarks: tuple[str, ...]


@dataclass
class MeterDays:
    """One meter from `first` on: litres a day, NaN where no pair of readings tells; the days it was in service."""

    meter: Meter
    first: dt.date
    daily_l: Array
    in_service: np.ndarray
    estimated: np.ndarray
    remarks: list[tuple[dt.date, dt.date, str]] = field(default_factory=list)

    def over(self, first: dt.date, until: dt.date) -> MeterUse:
        """What it tells of a span, both days included."""
        place = slice(max((first - self.first).days, 0), (until - self.first).days + 1)
        told = np.flatnonzero(~np.isnan(self.daily_l[place])) + place.start
        return MeterUse(
            meter_id=self.meter.pk,
            serial_number=self.meter.serial_number,
            irrigation_only=self.meter.irrigation_only,
            litres=float(self.daily_l[told].sum()) if len(told) else None,
            first_read_on=self.first + int(told[0]) * A_DAY if len(told) else None,
            last_read_on=self.first + (int(told[-1]) + 1) * A_DAY if len(told) else None,
            estimated=bool(self.estimated[told].any()),
            remarks=tuple(
                f"{writing.day(start)} to {writing.day(end)}: {words}"
                for start, end, words in self.remarks
                if start <= until and end > first
            ),
        )


def meter_days(site: Site, first: dt.date, expected_l: Array) -> list[MeterDays]:
    """Each meter of the site from `first` on, over as many days as `expected_l` has.

    The use between two readings is spread as the schedule would have it, see `spread_over_days`; a part of it before
    `first` is taken off by days.
    """
    largest_l = largest_l_per_day(site)
    meters = Meter.objects.filter(site=site).prefetch_related("readings")
    return [_meter_days(meter, first, expected_l, largest_l) for meter in meters]


def _meter_days(meter: Meter, first: dt.date, expected_l: Array, largest_l: float) -> MeterDays:
    days = len(expected_l)
    found = MeterDays(meter, first, np.full(days, np.nan), np.zeros(days, np.bool_), np.zeros(days, np.bool_))
    uses, unit_l, needs = uses_of(meter, largest_l)
    if needs:
        found.remarks.append((first, first + days * A_DAY, f"needs {needs}"))
    if not uses:
        return found
    ends = (meter.removed_on - first).days if meter.removed_on else days
    found.in_service[max((uses[0].start.date() - first).days, 0) : max(ends, 0)] = True
    for use in uses:
        if use.remark:
            found.remarks.append((use.start.date(), use.end.date(), use.remark))
        start, end = (use.start.date() - first).days, (use.end.date() - first).days
        inside = slice(max(start, 0), min(end, days))
        if use.use is None or inside.start >= inside.stop:
            continue
        whole = end - start
        # Days before the first and after the last have no expectation here: they take their share by days.
        beyond = whole - (inside.stop - inside.start)
        litres = use.use * unit_l * (1.0 - beyond / whole)
        found.daily_l[inside] = spread_over_days(litres, expected_l[inside])
        found.estimated[inside] = use.estimated
    return found


def together(meters: Sequence[MeterDays], days: int) -> Array:
    """Litres a day through all irrigation meters; NaN on days on which one that was in service does not tell."""
    counted = [one for one in meters if one.meter.irrigation_only]
    total, told = np.zeros(days), np.zeros(days, np.bool_)
    for one in counted:
        total += np.where(one.in_service, one.daily_l, 0.0)
        told |= one.in_service
    return np.where(told, total, np.nan)


def largest_l_per_day(site: Site) -> float:
    """What the supply could give in a day, all day long."""
    supplies = WaterSupply.objects.filter(site=site).values_list("flow_available_l_min", flat=True)
    return max((value for value in supplies if value), default=USUAL_LARGEST_FLOW_L_MIN) * 24 * 60


def uses_of(meter: Meter, largest_l: float, since: dt.date = dt.date.min) -> tuple[list[Use], float, str]:
    """Use between each two readings in counter units, the litres of a unit, and what is wrong with the readings."""
    unit_l = to_litres(1.0, METER_UNIT[meter.unit]) * meter.multiplier
    readings = [
        Reading(dt.datetime.combine(read.read_on, HALF_DAY, tzinfo=dt.UTC), float(read.counter), "", read.estimated)
        for read in meter.readings.all()
        if read.read_on >= since
    ]
    try:
        return list(consumption(readings, meter.digits, largest_l / unit_l)), unit_l, ""
    except WaterInputError as error:
        return [], unit_l, f"a check of the readings: {error}"
