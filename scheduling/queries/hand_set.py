"""Controllers that are set by hand: a pause does not reach them, somebody has to go."""

from collections.abc import Collection
from dataclasses import dataclass

from scheduling.queries.from_the_field import who_goes
from sites.models import Controller


@dataclass(frozen=True)
class OutOfReach:
    """One such controller, and whom to send; "" where nobody knows the site yet."""

    controller: Controller
    send: str

    @property
    def words(self) -> str:
        where = f", {self.controller.location}" if self.controller.location else ""
        who = f"send {self.send}" if self.send else "send somebody"
        return f"{self.controller.site}: {self.controller}{where}: {who}"


def out_of_reach(site_ids: Collection[int]) -> list[OutOfReach]:
    """The controllers of these sites that have to be switched off at the site."""
    rows = Controller.objects.filter(site__in=site_ids, set_by_hand=True).select_related("site")
    controllers = list(rows.order_by("site__name", "site", "pk"))
    people = who_goes({controller.site_id for controller in controllers})
    return [OutOfReach(controller, people.get(controller.site_id, "")) for controller in controllers]
