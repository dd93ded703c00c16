"""What goes wrong at a site over the visits: a valve's story, and faults that a walk over the site finds."""

import random
from dataclasses import dataclass
from enum import StrEnum

from jobs.models import Fault


class Trouble(StrEnum):
    NONE = "none"
    DRIFT = "drift"  # a splice corrodes: resistance rises from visit to visit
    OPEN = "open"
    SHORT = "short"
    WEEPS = "weeps"
    STUCK = "stuck"


class Repair(StrEnum):
    ON_THE_SPOT = "on the spot"
    LATER = "on a repair visit"
    NOT_YET = "not yet"


DRIFT_A_VISIT = 0.15  # share of the coil's resistance added at each visit
DRIFT_IS_A_FAULT = 0.30


@dataclass(frozen=True)
class ValveStory:
    """`onset` counts the site's visits from 0; the trouble is seen from that visit on."""

    trouble: Trouble
    onset: int
    repair: Repair

    @property
    def found_at(self) -> int:
        """The visit on which it becomes a fault: drift is watched first."""
        return self.onset + 2 if self.trouble == Trouble.DRIFT else self.onset

    def troubled_at(self, visit: int) -> bool:
        """Whether the reading of that visit shows it; after a repair the valve is sound again."""
        if self.trouble == Trouble.NONE or visit < self.onset:
            return False
        return visit <= self.found_at or self.repair == Repair.NOT_YET

    def extra_share(self, visit: int) -> float:
        """Resistance added to the coil's, as a share of it."""
        if self.trouble != Trouble.DRIFT or not self.troubled_at(visit):
            return 0.0
        return DRIFT_A_VISIT * (visit - self.onset + 1)


@dataclass(frozen=True)
class FaultWords:
    kind: str
    severity: str
    description: str
    part_needed: str
    repair_note: str


Kind, Severity = Fault.Kind, Fault.Severity
VALVE_FAULTS = {
    Trouble.DRIFT: FaultWords(
        Kind.HIGH_RESISTANCE,
        Severity.PLANTS_AT_RISK,
        "Resistance has risen from visit to visit; green splice in the valve box.",
        "2 watertight splices",
        "Cut back and spliced again with watertight connectors.",
    ),
    Trouble.OPEN: FaultWords(
        Kind.COIL_OPEN,
        Severity.PLANTS_AT_RISK,
        "Meter shows no reading at the terminal; zone does not run.",
        "coil, 24 V",
        "Coil replaced; reading normal afterwards.",
    ),
    Trouble.SHORT: FaultWords(
        Kind.COIL_SHORT,
        Severity.PLANTS_AT_RISK,
        "Only a few ohm at the terminal; the controller switches the zone off by itself.",
        "coil, 24 V",
        "Coil replaced.",
    ),
    Trouble.WEEPS: FaultWords(
        Kind.VALVE_WEEPS,
        Severity.WATER_LOSS,
        "Lowest head of the zone keeps dripping long after it is closed.",
        "diaphragm",
        "Diaphragm replaced, seat cleaned.",
    ),
    Trouble.STUCK: FaultWords(
        Kind.VALVE_STUCK_SHUT,
        Severity.PLANTS_AT_RISK,
        "Coil reads well, but the valve does not open.",
        "diaphragm and screen",
        "Grit removed from the control port, screen replaced.",
    ),
}
ZONE_FAULTS = (
    FaultWords(Kind.HEAD_BROKEN, Severity.WATER_LOSS, "Head sheared off at the path.", "1 head", "Head replaced."),
    FaultWords(
        Kind.HEAD_BLOCKED, Severity.COSMETIC, "Two heads spray onto the path.", "", "Turned and cleaned both heads."
    ),
    FaultWords(
        Kind.PIPE_LEAK,
        Severity.WATER_LOSS,
        "Wet patch in the lawn while the zone runs.",
        "coupling",
        "Dug out, coupling fitted, tried under pressure.",
    ),
    FaultWords(
        Kind.LOW_PRESSURE,
        Severity.PLANTS_AT_RISK,
        "Last heads of the zone do not rise fully.",
        "filter insert",
        "Filter insert cleaned, flow control opened.",
    ),
)
SITE_FAULTS = (
    FaultWords(
        Kind.CONTROLLER,
        Severity.PLANTS_AT_RISK,
        "Controller lost its clock after a power cut.",
        "backup battery",
        "Clock and programs set, backup battery replaced.",
    ),
    FaultWords(
        Kind.BACKFLOW,
        Severity.UNSAFE,
        "Relief port of the backflow assembly drips; left closed until the licensed tester has been.",
        "",
        "Serviced and tested by a licensed tester.",
    ),
)


def valve_story(rng: random.Random) -> ValveStory:
    """Most valves are sound; of the others, each kind of trouble with its own weight."""
    troubles = list(Trouble)
    trouble = rng.choices(troubles, (90, 3.5, 2, 0.7, 2.5, 1.3))[0]
    repair = rng.choices(list(Repair), (52, 30, 18))[0]
    return ValveStory(trouble, rng.randrange(0, 6), repair)


def found_on_a_walk(rng: random.Random) -> FaultWords | None:
    """What else a visit finds: nothing on most of them."""
    chance = rng.random()
    if chance < 0.26:
        return rng.choices(ZONE_FAULTS, (35, 30, 15, 20))[0]
    return rng.choice(SITE_FAULTS) if chance < 0.30 else None


NOTES = (
    "",
    "",
    "",
    "Client asked for a little less water on the beds.",
    "Hedge has grown over the valve box; cut it free.",
    "Two heads raised to the level of the lawn.",
    "Gate was open; caretaker informed.",
    "Dry patch in the corner, nozzle exchanged.",
    "Controller door does not lock any more.",
)
