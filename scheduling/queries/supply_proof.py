"""What is proved of a supply's week and what is not, in one place: one tag, two lists, and what a mishap does."""

from dataclasses import dataclass

from scheduling.core.sequence.mishaps import Mishap, mishaps
from scheduling.core.sequence.together import Handover
from scheduling.queries.sequence_weeks import ControllerWeek, Moments, SupplyWeek, Tag
from sites.core.units import format_quantity
from sites.models import Firm

# Common practice, no source: what a plan on paper cannot know.
REGISTER = (
    "The register’s figures: that commands take effect and valves move within the times entered there, that each "
    "zone takes the flow entered there, and that nothing else draws on the supply."
)
CLOCKS = "That the clocks of controllers set by hand agree: a clock that is minutes off moves its whole program."
ONE_AT_A_TIME = (
    "More than one lost command or power cut at a time, or a power cut of another length than ten minutes."
)
NOTHING_ELSE = "That nobody starts something else on this supply while it runs, and that no unpublished program runs."
OTHER_WEEKS = "Other weeks: a program that counts days, or waters on odd or even dates, falls on other weekdays then."


@dataclass(frozen=True)
class SupplyProof:
    """The page's one place for the proof of a supply. `mishaps` are empty where nothing runs."""

    supply: SupplyWeek
    tag: Tag
    proved: tuple[str, ...]
    not_proved: tuple[str, ...]
    mishaps: tuple[Mishap, ...]

    @property
    def clash(self) -> ControllerWeek | None:
        """One of the controllers that break a rule together: its words are those of all."""
        return next((week for week in self.supply.controllers if week.clash), None)

    @property
    def story(self) -> Moments:
        """How the first broken rule can come about."""
        return next((week.story for week in self.supply.controllers if week.story), ())


def supply_proof(supply: SupplyWeek, *, one_off: bool = False) -> SupplyProof:
    """one_off: of a run that somebody starts, not of a week that goes round."""
    found = mishaps(supply.parts)
    beyond = NOTHING_ELSE if one_off else OTHER_WEEKS
    return SupplyProof(supply, _tag(supply, found), _proved(supply), (*_not_proved(supply), beyond), found)


def _tag(supply: SupplyWeek, found: tuple[Mishap, ...]) -> Tag:
    """Green only where nothing red or amber stands below it."""
    if not supply.ok:
        return Tag("not safe", "bad")
    if not supply.sound:
        return Tag("commands proved, look below", "warn")
    if not supply.runs:
        return Tag("nothing runs", "soft")
    if any(one.unsafe for one in found):
        return Tag("proved while every command arrives", "soft")
    return Tag("proved, and no single lost command or power cut does harm", "good")


def _proved(supply: SupplyWeek) -> tuple[str, ...]:
    running = [week for week in supply.controllers if week.runs]
    if not supply.ok:
        return tuple(f"{week.controller} alone: {week.words}" for week in running if week.ok and not week.clash)
    words = [f"{week.controller}: {week.words}" if len(running) > 1 else week.words for week in running]
    if len(running) > 1:
        words.append(_together_words(supply, [str(week.controller) for week in running]))
    return tuple(words)


def _together_words(supply: SupplyWeek, names: list[str]) -> str:
    pump = next((part.plant.pump for part in supply.parts if part.plant.pump), None)
    kept = []
    if pump is not None:
        starts = f"{pump.most_starts_per_hour} start{'' if pump.most_starts_per_hour == 1 else 's'}"
        kept = [f"the pump rests at least {pump.minimum_rest_s:.0f} s and has at most {starts} in any hour"]
    if supply.parts[0].plant.supply_l_min is not None:
        kept.append("the valves of all of them take no more than the supply feeds, beyond the hand-over")
    kept.append("each zone gets its minutes")
    return f"{' and '.join(names)} together on {supply.name}: {', '.join(kept)}."


def _not_proved(supply: SupplyWeek) -> tuple[str, ...]:
    """What the reader must know beside the proof, the nearest first."""
    if not supply.runs:
        return ()
    words = [_handover_words(supply)] if supply.verdict and supply.verdict.handover else []
    if not supply.name:
        words.append("What feeds this controller: the register does not say, so nothing is proved of its supply.")
    if len([week for week in supply.controllers if week.runs and week.controller.set_by_hand]) > 1:
        words.append(CLOCKS)
    return (*words, ONE_AT_A_TIME, REGISTER)


def _handover_words(supply: SupplyWeek) -> str:
    """What the rules permit while one valve hands over to the next."""
    assert supply.verdict is not None and supply.verdict.handover is not None
    limit_s = max(part.plant.handover_limit_s for part in supply.parts)
    return handover_words(supply.verdict.handover, limit_s)


def handover_words(handover: Handover, limit_s: float) -> str:
    permitted = f"the rules permit {limit_s:.0f} s"
    if handover.supply_l_min is None or handover.peak_l_min is None:
        return (
            "Hand-overs: while one valve shuts and the next is open, both take water. Whether the supply feeds both "
            f"is not known, for want of a flow in the register; {permitted}."
        )
    if handover.longest_s <= 0:
        return "Hand-overs: the supply feeds both valves while one hands over to the next."
    units = Firm.current().units
    takes, feeds = (format_quantity(flow, "flow", units) for flow in (handover.peak_l_min, handover.supply_l_min))
    return (
        f"Hand-overs: more may be asked of the supply than it feeds, up to {takes} of {feeds}, for up to "
        f"{handover.longest_s:.0f} s at a stretch; {permitted}."
    )
