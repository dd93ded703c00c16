"""One planner at a time."""

from sites.models import Firm


def queue_planners() -> None:
    """Make everybody else who plans wait until this transaction ends. The first thing a planning action does.

    They queue at the firm's one row: whoever holds it may lock visits in any order without waiting for another
    planner that waits for him. Technicians on the road lock one visit at a time and need not queue.
    """
    list(Firm.objects.select_for_update().order_by("pk").values_list("pk", flat=True))
