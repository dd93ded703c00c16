"""What changed in the usual safety steps from edition to edition, and how it comes into the office's own checklists.

Nothing is overwritten: a checklist that the office changed is shown what is new and why, and takes it in when the
office saves it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from jobs.core.checklist_former import EDITION_1
from jobs.core.checklists import DEFAULT_CHECKLISTS, Step, safety_keys

# Raised whenever a safety step, its words or the order change.
EDITION = 2


@dataclass(frozen=True)
class SafetyChange:
    """What one edition changed in the usual steps of a kind, and why."""

    edition: int
    what: str
    why: str


SAFETY_CHANGES: dict[str, tuple[SafetyChange, ...]] = {
    "startup": (
        SafetyChange(
            2,
            "A step for a fertilizer injector; a pump is primed before the slow fill, and its pressure read with one "
            "zone on; cautions on filling, pumps and running zones stand with their steps.",
            "An injector joined before the line is full can push fertilizer back to drinking water; water and parts "
            "fly when air leaves; a pump is wrecked by running dry or against closed valves.",
        ),
    ),
    "mid_season": (
        SafetyChange(
            2,
            "Filters: the pump goes off before the water is shut. No leak is looked for with a pump against closed "
            "valves.",
            "A pump that works against closed valves boils its water and bursts.",
        ),
    ),
    "winterisation": (
        SafetyChange(
            2,
            "A new order: pipe material, limit set at the regulator with the air shut, eye and hearing protection, "
            "then the hose, a zone's valve open, and only then air.",
            "Before, the hose was on before the limit was set and before anybody wore protection.",
        ),
        SafetyChange(
            2,
            "Two new steps that the rest waits for: the injector off and flushed, and a zone's valve open before "
            "air.",
            "Fertilizer must not be blown over lawn and people; air against closed valves bursts pipe.",
        ),
        SafetyChange(
            2,
            "No air through any backflow assembly; the pump off before the water is shut; engine compressors "
            "outdoors.",
            '"Unprotected assembly" read as if some might be blown through; a pump bursts against a shut valve; '
            "exhaust kills.",
        ),
    ),
    "repair": (
        SafetyChange(
            2,
            "A new step that the rest waits for: buried lines located and marked before anything is dug; trench "
            "sides.",
            "A spade in a gas or power line kills, and so does a trench that falls in.",
        ),
        SafetyChange(
            2,
            "The caution on primer and cement stands with the repair, and glued joints wait for their curing time; "
            "the pump goes off before the water is shut, and only a valve that serves the irrigation alone is shut.",
            "Solvents burn and joints fly apart; a shut-off may also feed a building or a fire line.",
        ),
    ),
}


def changes_since(kind: str, edition: int) -> tuple[SafetyChange, ...]:
    """What changed in the usual steps of `kind` after `edition`."""
    return tuple(change for change in SAFETY_CHANGES[kind] if change.edition > edition)


def with_safety(kind: str, steps: Sequence[Step]) -> tuple[Step, ...]:
    """`steps` of the office with today's safety steps in their order, and its own steps where they stood.

    Words that the office never changed from the former usual ones become today's; its own words stay. A step that
    is not in today's usual list stays behind the step it stood behind; one it left out stays out unless rules rest
    on it.
    """
    usual = {step.key: step for step in DEFAULT_CHECKLISTS[kind]}
    before = {step.key: step for step in EDITION_1[kind]}
    here = {step.key: step for step in steps}
    must = set(safety_keys(kind))
    found = [
        _today(step, here.get(step.key), before.get(step.key))
        for step in usual.values()
        if step.key in here or step.key in must or step.key not in before
    ]
    behind = ""
    for step in steps:
        if step.key not in usual:
            at = next((number for number, one in enumerate(found, start=1) if one.key == behind), 0)
            found.insert(at, step)
        behind = step.key
    return tuple(found)


def _today(usual: Step, own: Step | None, before: Step | None) -> Step:
    """Today's usual step with the office's own words where it had any."""
    if own is None:
        return usual
    text = own.text if before is None or own.text != before.text else usual.text
    caution = own.caution if before is None or own.caution != before.caution else usual.caution
    return replace(own, text=text, caution=caution or usual.caution, gate=own.gate or usual.gate)
