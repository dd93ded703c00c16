"""How long a visit takes: from its kind and number of zones, or from what this site took before."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median

ROUND_MIN = 5
HISTORY_VISITS = 5


@dataclass(frozen=True)
class ServiceRate:
    """Minutes for a visit and for each zone of it."""

    visit_min: float
    zone_min: float


# Common practice, no source: middles of the usual ranges (startup 20-30 and 5-8, mid-season 15 and 3-5,
# winterization 15-20 and 2-3 with a second pass of 1 a zone). Editable by the firm.
DEFAULT_RATES: Mapping[str, ServiceRate] = {
    "startup": ServiceRate(25, 6.5),
    "midseason": ServiceRate(15, 4),
    "winterisation": ServiceRate(17.5, 3.5),
}
# Common practice, no source: 20-40 a pump or intake, 20-30 a test of a backflow assembly, 5 to park and unload.
PUMP_MIN = 30
BACKFLOW_TEST_MIN = 25
ACCESS_MIN = 5


@dataclass(frozen=True)
class PastVisit:
    """An earlier visit of the same kind at the same site: its minutes on site and zones served then."""

    minutes: float
    zones: int


@dataclass(frozen=True)
class ServiceTime:
    """Minutes to plan, rounded up to five, and in words where they come from."""

    minutes: int
    source: str


def service_time(
    kind: str,
    zones: int,
    *,
    pumps: int = 0,
    backflow_tests: int = 0,
    history: Sequence[PastVisit] = (),
    rates: Mapping[str, ServiceRate] = DEFAULT_RATES,
) -> ServiceTime:
    """Minutes on site for a visit; `history` (newest last) of the site replaces the firm's rates.

    With history: the median of the last five, each corrected by the zone rate for zones added or taken away
    since. KeyError on a kind without a rate; ValueError on negative counts.
    """
    if min(zones, pumps, backflow_tests) < 0:
        raise ValueError("counts must not be negative")
    rate = rates[kind]
    usable = [past for past in history if past.minutes > 0][-HISTORY_VISITS:]
    if usable:
        minutes = median(max(1.0, p.minutes + (zones - p.zones) * rate.zone_min) for p in usable)
        return ServiceTime(_rounded(minutes), f"median of {len(usable)} earlier visits here")
    minutes = ACCESS_MIN + rate.visit_min + zones * rate.zone_min
    minutes += pumps * PUMP_MIN + backflow_tests * BACKFLOW_TEST_MIN
    parts = [f"{zones} zones"] + [
        f"{n} {word}" for n, word in ((pumps, "pump"), (backflow_tests, "backflow test")) if n
    ]
    return ServiceTime(_rounded(minutes), f"usual time for {kind}, {', '.join(parts)}")


def _rounded(minutes: float) -> int:
    return int(-(-minutes // ROUND_MIN)) * ROUND_MIN
