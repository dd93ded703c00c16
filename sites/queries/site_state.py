"""The state of sites: off, filling up, on, shut off for winter."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.utils import timezone

from sites.core.site_state import Standing, StateLine
from sites.models import Site, StateChange
from sites.queries.site_page import local_today

EVERYWHERE = None


class StateLines(dict[int, StateLine]):
    """A line a site; a site without any recorded change has the empty line, which counts as on."""

    def __missing__(self, site_id: int) -> StateLine:
        return StateLine()


def state_lines(site_ids: Iterable[int] | None = EVERYWHERE) -> StateLines:
    """The recorded changes of these sites, or of all; one query."""
    rows = StateChange.objects.order_by("changed_on", "pk")
    if site_ids is not EVERYWHERE:
        rows = rows.filter(site__in=list(site_ids))
    found: dict[int, list[tuple[dt.date, str]]] = defaultdict(list)
    for site_id, changed_on, state in rows.values_list("site_id", "changed_on", "state"):
        found[site_id].append((changed_on, state))
    return StateLines({pk: StateLine(tuple(changes)) for pk, changes in found.items()})


def standing_of(site: Site, day: dt.date | None = None) -> Standing:
    """The site's state on a day, today where none is given."""
    return state_lines([site.pk])[site.pk].at(day or local_today(site))


@dataclass(frozen=True)
class SiteStanding:
    """A row of a list of sites with its state."""

    site: Site
    standing: Standing


def with_standing(sites: Iterable[Site]) -> list[SiteStanding]:
    """Each site with its state today; one query for all of them."""
    rows = list(sites)
    lines, today = state_lines([site.pk for site in rows]), timezone.localdate()
    return [SiteStanding(site, lines[site.pk].at(today)) for site in rows]
