"""What a zone's water shows to be wrong: pipes too narrow, too little pressure, a pump that cannot lift."""

from sites.core.findings import CheckFinding, Figure, Findings, Severity
from sites.core.hydraulics import WARN_VELOCITY_M_S
from sites.core.plant import SitePlant
from sites.core.units import Quantity
from sites.core.zone_water import ZoneAnswers, site_answers


def water_findings(plant: SitePlant) -> Findings:
    """Of the zones in use; nothing is found where a figure could not be computed."""
    for answers in site_answers(plant):
        if answers.zone.in_use:
            yield from _too_fast(answers)
            yield from _cannot_lift(answers) if answers.cannot_lift else _too_low(answers)


def _too_fast(answers: ZoneAnswers) -> Findings:
    velocity = answers.velocity_m_s.value
    if velocity is not None and answers.over_limit:
        yield CheckFinding(
            "pipe_too_narrow",
            Severity.WRONG,
            "zone",
            answers.zone.id,
            f"Water runs too fast in the pipe of Zone {answers.zone}",
            "Measure flow and pipe again; a wider pipe, smaller nozzles or two zones help; fast water hammers.",
            (
                Figure("velocity", velocity, Quantity.VELOCITY),
                Figure("limit", WARN_VELOCITY_M_S, Quantity.VELOCITY),
            ),
        )


def _too_low(answers: ZoneAnswers) -> Findings:
    head_kpa = answers.head_kpa.value
    if head_kpa is not None and answers.too_low:
        yield CheckFinding(
            "pressure_too_low",
            Severity.WRONG,
            "zone",
            answers.zone.id,
            f"The heads of Zone {answers.zone} get too little pressure",
            "Gauge fitted with the water off, measure at the farthest head; check for leaks and half-shut valves.",
            (
                Figure("computed at the head", head_kpa, Quantity.PRESSURE),
                Figure("its emitters need", answers.wanted_kpa, Quantity.PRESSURE),
            ),
        )


def _cannot_lift(answers: ZoneAnswers) -> Findings:
    supply, rise_m = answers.supply, answers.zone.head_rise_m
    if supply is not None and supply.curve is not None and rise_m is not None:
        yield CheckFinding(
            "pump_cannot_lift",
            Severity.UNSAFE,
            "zone",
            answers.zone.id,
            f"{supply.name} cannot lift water to Zone {answers.zone}: the pump would run with no flow",
            "Do not water this zone before height and curve are checked; a pump without flow heats its water.",
            (
                Figure("head at no flow", supply.curve.shutoff_m, Quantity.LENGTH),
                Figure("height to the heads", rise_m, Quantity.LENGTH),
            ),
        )
