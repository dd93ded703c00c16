"""What would free a visit that found no place, with the risk that it brings."""

from collections.abc import Iterable

from jobs.core.routing.season_terms import Remedy
from jobs.models import Visit, VisitKind
from jobs.queries.frost import SiteFrost


class RemedyWords:
    """Remedies of these visits in words; freeze records are read once, and only for a later winterization."""

    def __init__(self, visits: Iterable[Visit]) -> None:
        self.frost = SiteFrost({visit.site for visit in visits if visit.kind == VisitKind.WINTERISATION})

    def of(self, visit: Visit, remedy: Remedy) -> str:
        if remedy.kind != "deadline" or remedy.on is None or visit.kind != VisitKind.WINTERISATION:
            return remedy.text
        known = self.frost.chance_by(visit.site, remedy.on, visit.season_year)
        if known is None:
            return f"{remedy.text}; no freeze record tells the risk"
        chance, sufficient = known
        short = "" if sufficient else " (by too short a record)"
        return f"{remedy.text}, {_percent(chance)} chance of a hard freeze by then{short}"


def _percent(chance: float) -> str:
    """Never "0 %" or "100 %": a record promises neither."""
    whole = round(100 * chance)
    return "less than 1 %" if whole < 1 else "more than 99 %" if whole > 99 else f"{whole} %"
