"""What a zone's water shows to be wrong: pipes too narrow, too little pressure, a pump that cannot lift."""

from collections.abc import Iterable, Iterator

from sites.core.checks import CheckFinding, Figure, Severity
from sites.core.hydraulics import WARN_VELOCITY_M_S
from sites.core.units import Quantity
from sites.core.zone_water import ZoneAnswers


def water_findings(zones: Iterable[ZoneAnswers]) -> Iterator[CheckFinding]:
    """Nothing is found where a figure could not be computed."""
    for answers in zones:
        yield from _too_fast(answers)
        yield from _cannot_lift(answers) if answers.cannot_lift else _too_low(answers)


def _too_fast(answers: ZoneAnswers) -> Iterator[CheckFinding]:
    velocity = answers.velocity_m_s.value
    if velocity is not None and answers.over_limit:
        yield CheckFinding(
            "pipe_too_narrow",
            Severity.WRONG,
            "zone",
            answers.zone.id,
            f"Water runs too fast in the pipe of {answers.zone.name}",
            "Measure flow and pipe again; a wider pipe, smaller nozzles or two zones help; fast water hammers.",
            (
                Figure("velocity", velocity, Quantity.VELOCITY),
                Figure("limit", WARN_VELOCITY_M_S, Quantity.VELOCITY),
            ),
        )


def _too_low(answers: ZoneAnswers) -> Iterator[CheckFinding]:
    head_kpa = answers.head_kpa.value
    if head_kpa is not None and answers.too_low:
        yield CheckFinding(
            "pressure_too_low",
            Severity.WRONG,
            "zone",
            answers.zone.id,
            f"The heads of {answers.zone.name} get too little pressure",
            "Measure at the farthest head while the zone runs; check for leaks, half-shut valves and narrow pipe.",
            (
                Figure("computed at the head", head_kpa, Quantity.PRESSURE),
                Figure("its emitters need", answers.wanted_kpa, Quantity.PRESSURE),
            ),
        )


def _cannot_lift(answers: ZoneAnswers) -> Iterator[CheckFinding]:
    supply, rise_m = answers.zone.supply, answers.zone.rise_m
    if supply is not None and supply.curve is not None and rise_m is not None:
        yield CheckFinding(
            "pump_cannot_lift",
            Severity.UNSAFE,
            "zone",
            answers.zone.id,
            f"{supply.name} cannot lift water to {answers.zone.name}: the pump would run with no flow",
            "Do not water this zone before height and curve are checked; a pump without flow heats its water.",
            (
                Figure("head at no flow", supply.curve.shutoff_m, Quantity.LENGTH),
                Figure("height to the heads", rise_m, Quantity.LENGTH),
            ),
        )
