"""What the service work knows and watering asks about: faults that change the flow, and who could go to a site.

That work is an app above this one, so the settings name the functions that answer.
"""

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from django.conf import settings
from django.utils.module_loading import import_string


@dataclass(frozen=True)
class WaterFault:
    """A fault that changes what flows between two days, both included; `last` is None while it is open.

    With `stops` no water came through the zones of `zone_ids`; else water ran that no schedule asked for, and how
    much nobody measured.
    """

    site_id: int
    fault_id: int
    kind: str
    what: str
    place: str
    zone_ids: tuple[int, ...]
    first: dt.date
    last: dt.date | None
    stops: bool


def water_faults(site_ids: Collection[int], first: dt.date, until: dt.date) -> Sequence[WaterFault]:
    """Faults of these sites that were there on some of these days, in the order they were found."""
    return import_string(settings.WATER_FAULTS)(site_ids, first, until)


def who_goes(site_ids: Collection[int]) -> Mapping[int, tuple[str, str]]:
    """By site the person to send, and when that person is or was there; a site nobody knows is left out."""
    return import_string(settings.WHO_GOES)(site_ids)
