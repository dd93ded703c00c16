"""Which sites the demo has: the named ones, some with a planted mistake, then as many more as asked for."""

from dataclasses import dataclass
from enum import StrEnum

from config.demo import names
from config.demo.dice import dice


class Kind(StrEnum):
    HOME = "home"
    ASSOCIATION = "association"
    SCHOOL = "school"
    SPORTS = "sports"
    PARK = "park"


class Mistake(StrEnum):
    """What is wrong on purpose at a site, so that every check of the register and the sequence has work."""

    PUMP_WITHOUT_OVERLAP = "a pump on interlocked outputs: no overlap is possible at hand-over"
    COLLIDING_PROGRAMS = "two programs start on the same mornings while the first still runs"
    SHORT_WINDOW = "the permitted watering window is far too short for the zones"
    OVERLOADED_TRANSFORMER = "the controller's transformer cannot hold its coils"
    DOUBLE_TERMINAL = "two valves sit on one terminal"
    SHARED_PUMP = "two controllers start one pump: published so close together that it gets no rest in between"
    LEAK = "the meter runs well above the schedule: a leak"
    MISSING_FIGURES = "zones without area, rate or flow"
    DOUBTFUL_FIGURES = (
        "flow above the supply, a rate far from flow over area, a valve without zone, a thin wire and pipe"
    )


@dataclass(frozen=True)
class SiteSketch:
    """The outline of a site; `manager` is the place of its client in `names.MANAGERS`, None for own clients."""

    index: int
    name: str
    kind: Kind
    supply: str
    zones: int
    manager: int | None = None
    mistake: Mistake | None = None


# Their names stand in no list of `names`, so that no other site can have the same.
NAMED = (
    SiteSketch(0, "Rook Meadow sports ground", Kind.SPORTS, "pump", 24),
    SiteSketch(1, "Otter Pond allotments", Kind.ASSOCIATION, "pump", 8, None, Mistake.PUMP_WITHOUT_OVERLAP),
    SiteSketch(2, "Teasel Avenue school", Kind.SCHOOL, "mains", 14, None, Mistake.COLLIDING_PROGRAMS),
    SiteSketch(3, "Kingfisher Court", Kind.ASSOCIATION, "mains", 16, 0, Mistake.SHORT_WINDOW),
    SiteSketch(4, "Swallow Terrace", Kind.ASSOCIATION, "well", 12, 0, Mistake.OVERLOADED_TRANSFORMER),
    SiteSketch(5, "Bellwether garden", Kind.HOME, "gravity", 6, None, Mistake.DOUBLE_TERMINAL),
    SiteSketch(6, "Aldermoor garden", Kind.HOME, "mains", 2),
    SiteSketch(7, "Lantern Hill park", Kind.PARK, "mains", 10),
    SiteSketch(8, "Wagtail Gardens", Kind.ASSOCIATION, "mains", 10, 0, Mistake.LEAK),
    SiteSketch(9, "Cotterill garden", Kind.HOME, "mains", 7, None, Mistake.MISSING_FIGURES),
    SiteSketch(10, "Dovecote garden", Kind.HOME, "mains", 5, None, Mistake.DOUBTFUL_FIGURES),
    SiteSketch(11, "Withy Bottom allotments", Kind.ASSOCIATION, "pump", 10, None, Mistake.SHARED_PUMP),
)
FEWEST_SITES = 6  # below it a planted mistake of the sequence would be missing
PLANTED = {sketch.mistake: sketch.name for sketch in NAMED if sketch.mistake}
FIRST_CLIENT_SITE, SECOND_CLIENT_SITE = 3, 5  # whose clients have the two client logins

ZONES = {
    Kind.HOME: (2, 9),
    Kind.ASSOCIATION: (6, 16),
    Kind.SCHOOL: (10, 16),
    Kind.SPORTS: (14, 18),
    Kind.PARK: (6, 12),
}
PUBLIC = (Kind.PARK, Kind.SCHOOL, Kind.SPORTS)
PLACE_WORDS = {Kind.PARK: "park", Kind.SCHOOL: "school", Kind.SPORTS: "sports ground"}


def sketch(seed: int, index: int) -> SiteSketch:
    """The site with this number: the same whatever the number of sites."""
    if index < len(NAMED):
        return NAMED[index]
    rng = dice(seed, "sketch", index)
    place_in_turn = index % 20
    if place_in_turn == 19:
        kind = PUBLIC[index // 20 % len(PUBLIC)]
        name = f"{names.cycled(names.STREETS, index // 20)} {PLACE_WORDS[kind]}"
    elif place_in_turn % 3 == 1:
        kind = Kind.ASSOCIATION
        name = f"{names.TREES[index % 24]} {names.cycled(names.HOUSES, index // 24)}"
    else:
        kind = Kind.HOME
        name = f"{names.family(index)} garden"
    supply = rng.choices(("mains", "well", "pump", "gravity"), (70, 12, 11, 7))[0]
    if kind in PUBLIC:
        supply = rng.choice(("mains", "pump"))
    manager = rng.randrange(1, 3) if kind == Kind.ASSOCIATION and rng.random() < 0.5 else None
    return SiteSketch(index, name, kind, supply, rng.randint(*ZONES[kind]), manager)
