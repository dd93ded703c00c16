"""The trade's terms in plain words: one list, shown on the page and linked from the fields it explains.

The words are our own; where a standard defines a term, its name stands with it.
"""

import dataclasses
from typing import Final

from django.utils.text import slugify


@dataclasses.dataclass(frozen=True)
class Term:
    """`fields` are the labels of form fields, in lower case, that this term explains."""

    name: str
    meaning: str
    fields: tuple[str, ...] = ()

    @property
    def anchor(self) -> str:
        return slugify(self.name)


TERMS: Final = (
    Term(
        "Application rate",
        "How fast water lands on a zone: depth per hour. Flow divided by area, or measured with catch cans.",
        ("application rate",),
    ),
    Term(
        "Allowed depletion",
        "The share of the water in the root zone that plants may use before the next watering (MAD).",
    ),
    Term(
        "Backtest",
        "Ways of watering tried on every recorded year of the weather station: litres, waterings, days under stress.",
    ),
    Term("Backflow assembly", "A fitting that stops water of the irrigation from flowing back into drinking water."),
    Term("Blow-out", "Emptying the pipes with compressed air before frost."),
    Term(
        "Catch-can test",
        "Equal cans are spread over a zone while it runs. What they catch tells rate and uniformity.",
    ),
    Term("Coil", "The electromagnet that opens a valve. Its resistance tells whether it is healthy."),
    Term(
        "Controller, terminal",
        "The box that opens the valves by a program; a terminal is the numbered output that a valve's wire sits on.",
        ("number of terminals", "terminal"),
    ),
    Term("Counter", "The number that a water meter shows. A reading is the counter on a day."),
    Term(
        "Cycle and soak",
        "A run cut into short cycles with pauses, so that water soaks in before more is given.",
        ("cycles", "soak, min"),
    ),
    Term("Depletion", "How much water is missing from the root zone: 0 is full."),
    Term(
        "Distribution uniformity",
        "How even a zone is watered: the mean of the driest quarter of the cans divided by the mean of all (DU).",
        ("distribution uniformity, low quarter",),
    ),
    Term("Effective rain", "The part of the rain that plants can use; the rest runs off or drains away."),
    Term(
        "Emitter",
        "What lets the water out: spray, rotor, drip line, bubbler.",
        ("emitter class",),
    ),
    Term(
        "Evapotranspiration (ET)",
        "Water that soil and plants give to the air. Reference ET is that of a well-watered short grass (FAO-56).",
    ),
    Term("Hard freeze", "A night of −2.2 °C (28 °F) or colder: water left in pipes above ground can burst them."),
    Term("Hand-over", "The moments in which one valve closes and the next one opens."),
    Term(
        "Holding and inrush load",
        "The power a coil takes while it is open, and the higher one in the first moments.",
        ("coil holding load", "coil inrush load"),
    ),
    Term(
        "Interlocked outputs",
        "A controller that can open one valve at a time: opening one output closes the other.",
        ("one valve at a time (interlocked outputs)",),
    ),
    Term(
        "Master valve",
        "A valve at the head of the system that is open only while a zone runs.",
        ("master valve",),
    ),
    Term(
        "Off, filling up, on, shut off for winter",
        "A site's state: startup fills it up and turns it on, winterisation shuts it off, or the office sets it.",
    ),
    Term("One-off run", "A run outside the schedule: a test of all zones, one zone, or one program once."),
    Term(
        "Order",
        "What a client places by accepting a proposal. Nothing is ordered before that.",
    ),
    Term("Plant factor", "The share of reference ET that a planting needs."),
    Term(
        "Prime delay",
        "How long a valve is open before the pump starts.",
        ("prime delay",),
    ),
    Term("Program, step", "Days and start times with zones; a step is one zone with its minutes."),
    Term("Promise", "A day, or a day and hours, that the client was told. No planner moves it."),
    Term("Proposal", "What a repair would cost, for the client to accept or decline."),
    Term("Readily available water", "Water in the root zone that plants use without stress (FAO-56)."),
    Term("Register", "The record of a site: supply, pump, controller, valves, zones and meters."),
    Term("Revision", "What is published for a site. Each publication is the next revision and is never changed."),
    Term("Root depth", "How deep the roots reach that take up most of the water.", ("root depth",)),
    Term("Run time", "Minutes that a zone runs on a watering day, all cycles together."),
    Term(
        "Seasonal percentage",
        "One setting for all zones of a controller: 100 % in the peak month, less in the others.",
        ("has one seasonal percentage for all zones",),
    ),
    Term("Severity", "How much harm a fault does: unsafe, water loss, plants at risk, or cosmetic.", ("severity",)),
    Term(
        "Static pressure",
        "Pressure while no water flows. With flow it is lower.",
        ("static pressure",),
    ),
    Term("Supply", "Where a site's water comes from: mains, well, pump, tank."),
    Term("Valve, zone", "The valve in the box; the piece of ground that it waters."),
    Term(
        "Visit",
        "One call at a site: startup, mid-season check, winterization or repair.",
    ),
    Term("Visit window", "The days between which a visit must fall."),
    Term("Weep", "A valve that lets a little water through although it is closed."),
    Term("Winterization", "Emptying a system before frost, usually with compressed air."),
)

_BY_FIELD: Final = {field: term for term in TERMS for field in term.fields}


def term_of(label: str) -> Term | None:
    """The term that explains a form field of this label, if one does."""
    return _BY_FIELD.get(str(label).lower())
