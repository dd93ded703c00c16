"""What each zone of a site gets through its pipe, and which zones can run together."""

from dataclasses import dataclass

from sites.core.plant import SitePlant
from sites.core.zone_water import Answer, ZoneAnswers, site_answers
from sites.core.zones_together import Together, zones_together


@dataclass(frozen=True)
class ZoneLine:
    """A zone with its answers; `needs`: what its missing figures need, beyond what every zone needs."""

    answers: ZoneAnswers
    needs: tuple[str, ...] = ()


@dataclass(frozen=True)
class WaterPage:
    """needs: what every zone of the site still needs; pumped: whether a controller starts a pump here."""

    lines: list[ZoneLine]
    needs: tuple[str, ...]
    together: list[Together]
    pumped: bool


def water_page(plant: SitePlant) -> WaterPage:
    """The zones in use and the controllers that have a valve."""
    found = [answers for answers in site_answers(plant) if answers.zone.in_use]
    asked = [_needs(answers) for answers in found]
    common = tuple(need for need in (asked[0] if asked else ()) if all(need in needs for needs in asked))
    return WaterPage(
        lines=[
            ZoneLine(answers, tuple(need for need in needs if need not in common))
            for answers, needs in zip(found, asked, strict=True)
        ],
        needs=common,
        together=[zones_together(plant, one) for one in plant.controllers if plant.valves_on(one.id)],
        pumped=any(supply.pumped for supply in plant.supplies),
    )


def _needs(answers: ZoneAnswers) -> tuple[str, ...]:
    asked: tuple[Answer, ...] = (
        answers.velocity_m_s,
        answers.friction_kpa,
        answers.head_kpa,
        Answer(needs=answers.point_needs),
        answers.power_kw,
        answers.cost_per_m3,
    )
    return tuple(dict.fromkeys(need for answer in asked for need in answer.needs))
