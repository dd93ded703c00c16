"""Controllers that are set by hand: a pause does not reach them, somebody has to go."""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby

from scheduling.queries.from_the_field import who_goes
from sites.models import Controller


@dataclass(frozen=True)
class OutOfReach:
    """One such controller, whom to send and when that person is or was there; "" where nobody knows the site yet."""

    controller: Controller
    person: str
    there: str

    @property
    def place(self) -> str:
        where = f", {self.controller.location}" if self.controller.location else ""
        return f"{self.controller.site}: {self.controller}{where}"

    @property
    def words(self) -> str:
        who = f"send {self.person}, who {self.there}" if self.person else "send somebody"
        return f"{self.place}: {who}"


def out_of_reach(site_ids: Collection[int]) -> list[OutOfReach]:
    """The controllers of these sites that have to be switched off at the site."""
    rows = Controller.objects.filter(site__in=site_ids, set_by_hand=True).select_related("site")
    controllers = list(rows.order_by("site__name", "site", "pk"))
    people = who_goes({controller.site_id for controller in controllers})
    return [OutOfReach(controller, *people.get(controller.site_id, ("", ""))) for controller in controllers]


def by_person(found: Iterable[OutOfReach], most: int) -> Iterator[tuple[str, list[str]]]:
    """Whom to send, and where: places in words, at most `most` of them named. Nobody's places come last."""
    for person, rows in groupby(sorted(found, key=lambda one: (not one.person, one.person)), lambda one: one.person):
        places = [f"{one.place} ({one.there})" if one.there else one.place for one in rows]
        more = len(places) - most
        yield person, [*places[:most], *([f"and {more} more, see the sites’ watering pages"] if more > 0 else [])]
