"""What both drawings of a controller's plant share: what is told on them, their head, lines and legend.

Nothing is guessed: what the register does not hold is drawn dashed with a question mark. The mains side of the
controller is not drawn; it is for a licensed electrician.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from sites.core import plant_symbols as symbols
from sites.core.drawing import Drawing, Line, Mark, Words, fitted
from sites.core.plant import SitePlant, Valve
from sites.core.units import System, format_quantity

TEXT, SMALL = 13.0, 12.0


@dataclass(frozen=True)
class Told:
    """What a drawing tells beside the plant, in finished words, and the units of its figures.

    faults: open ones by what they are at, such as ("valve", 3); ("pump", 0) and ("backflow", 0) are the site's.
    measured: by valve everything last measured at it; electrical: resistance and voltage alone.
    """

    system: System = System.METRIC
    faults: Mapping[tuple[str, int], tuple[str, ...]] = field(default_factory=dict)
    measured: Mapping[int, str] = field(default_factory=dict)
    electrical: Mapping[int, str] = field(default_factory=dict)

    def at(self, place: str, key: int = 0) -> tuple[str, ...]:
        return self.faults.get((place, key), ())

    def at_valve(self, plant: SitePlant, valve: Valve) -> tuple[str, ...]:
        """Faults of a valve and of the zones it waters."""
        zones = [words for zone in plant.zones_of(valve.id) for words in self.at("zone", zone.id)]
        return (*self.at("valve", valve.id), *zones)

    def amount(self, value: float | None, quantity: str) -> str:
        return format_quantity(value, quantity, self.system, missing="")


def zone_names(plant: SitePlant, valve: Valve) -> tuple[str, ...]:
    return tuple(f"Zone {zone}" for zone in plant.zones_of(valve.id))


def head(drawing: Drawing, site: str, title: str) -> float:
    """The title in one line or in two; returns where the drawing begins."""
    both = f"{site}: {title[:1].lower()}{title[1:]}"
    room = drawing.width - 32
    if fitted(both, 15, room, bold=True) == both:
        drawing.add(Words(16, 26, both, 15, True))
        return 66.0
    drawing.add(Words(16, 24, fitted(site, 15, room, bold=True), 15, True))
    drawing.add(Words(16, 42, fitted(title, TEXT, room), TEXT, tone="soft"))
    return 84.0


def lines(notes: Sequence[str], faults: Sequence[str], x: float, y: float, room: float) -> list[Mark]:
    marks: list[Mark] = []
    for words in notes:
        marks.append(Words(x, y, fitted(words, SMALL, room), SMALL, tone="soft"))
        y += 15
    for words in faults:
        marks += symbols.fault(x + 8, y - 4)
        cut = fitted(words, SMALL, room - 20, bold=True)
        marks.append(Words(x + 20, y, cut, SMALL, bold=True, tone="alert"))
        y += 15
    return marks


def add_legend(drawing: Drawing, entries: list[tuple[list[Mark], str]], y: float) -> None:
    drawing.add(Line(((16, y), (drawing.width - 16, y)), "rule", 1))
    marks, high = symbols.legend(entries, x=16, y=y + 4, width=drawing.width - 32)
    drawing.extend(marks)
    drawing.height = y + high + 12
