"""The way from planned to used water, line by line, in the firm's units and the client's language."""

from collections.abc import Iterator

from jobs.models import Fault
from reports.documents.season_report import BridgeLine
from reports.queries.telling import Telling
from scheduling.queries.water_use import Bridge, FaultWater

A_LITRE = 1.0  # less than that ran on the days the meter does not tell


def bridge_lines(bridge: Bridge, telling: Telling) -> tuple[BridgeLine, ...]:
    """Every part that is not nothing, the sums in strong type."""
    return tuple(_lines(bridge, telling))


def _lines(bridge: Bridge, telling: Telling) -> Iterator[BridgeLine]:
    say, count = telling.words.say, telling.words.count
    faults = {fault.pk: fault for fault in _faults(bridge)}
    yield BridgeLine(say("bridge.planned"), _amount(bridge.planned_l, telling))
    if bridge.off_l:
        yield BridgeLine(say("bridge.off", days=count(bridge.off_days, "day")), _amount(-bridge.off_l, telling))
    if bridge.paused_l:
        days = count(bridge.paused_days, "day")
        yield BridgeLine(say("bridge.paused", days=days), _amount(-bridge.paused_l, telling))
    if bridge.set_otherwise_l:
        yield BridgeLine(say("bridge.set_otherwise"), _amount(bridge.set_otherwise_l, telling, sign=True))
    for one in bridge.stopped:
        yield BridgeLine(_fault_words("bridge.stopped", one, faults, telling), _amount(-(one.litres or 0.0), telling))
    yield BridgeLine(say("bridge.expected"), _amount(bridge.expected_l, telling), strong=True)
    for one in bridge.added:
        shown = say("bridge.not_measured") if one.litres is None else _amount(one.litres, telling, sign=True)
        yield BridgeLine(_fault_words("bridge.added", one, faults, telling), shown)
    if bridge.metered:
        key = "bridge.rest_unmeasured" if bridge.unmeasured else "bridge.rest"
        yield BridgeLine(say(key), _amount(bridge.rest_l, telling, sign=True))
    yield BridgeLine(_used_words(bridge, telling), _amount(bridge.used_l, telling), strong=True)


def told_by(bridge: Bridge, telling: Telling) -> str:
    """What tells the used water: the meter between two days, partly, or the schedule."""
    if bridge.metered_l is None:
        return telling.words.say("headline.expected")
    dates = {"first": telling.date(bridge.metered_from), "last": telling.date(bridge.metered_until)}
    if bridge.unmetered_l < A_LITRE:
        return telling.words.say("headline.by_meter", **dates)
    return telling.words.say("headline.partly", volume=telling.volume_text(bridge.metered_l), **dates)


def _used_words(bridge: Bridge, telling: Telling) -> str:
    if not bridge.metered:
        return telling.words.say("bridge.used_expected")
    first, last = telling.date(bridge.metered_from), telling.date(bridge.metered_until)
    key = "bridge.used" if bridge.unmetered_l < A_LITRE else "bridge.used_partly"
    return telling.words.say(key, first=first, last=last)


def _faults(bridge: Bridge) -> Iterator[Fault]:
    ids = [one.fault.fault_id for one in (*bridge.stopped, *bridge.added)]
    rows = Fault.objects.filter(pk__in=ids) if ids else Fault.objects.none()
    yield from rows.select_related("site", "zone", "valve", "controller", "supply")


def _fault_words(key: str, one: FaultWater, faults: dict[int, Fault], telling: Telling) -> str:
    fault = faults[one.fault.fault_id]
    return telling.words.say(
        key,
        fault=telling.words.say(f"fault.{fault.kind}"),
        where=telling.place(fault),
        first=telling.date(one.first),
        last=telling.date(one.last),
    )


def _amount(litres: float, telling: Telling, *, sign: bool = False) -> str:
    shown = telling.volume(abs(litres))
    text = shown.text if shown else "0"
    if litres < 0 and text != "0":
        return f"−{text}"
    return f"+{text}" if sign and text != "0" else text
