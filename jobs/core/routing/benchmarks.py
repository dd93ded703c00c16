"""Published routing instances for our own solver interface."""

import numpy as np

from jobs.core.routing.clock import Task
from jobs.core.routing.solver import Fleet, FleetClient, FleetVehicle


def solomon_fleet(text: str) -> Fleet:
    """An instance in Solomon's text format (Oper. Res. 35, 1987) as a fleet.

    Distances and times are in tenths, truncated, so that total driving / 10 compares with best-known values
    under the distance-only, one-decimal convention. ValueError when the text has another shape.
    """
    rows = [[int(x) for x in line.split()] for line in text.splitlines() if line[:1].isspace() or line[:1].isdigit()]
    rows = [row for row in rows if row]
    if not rows or len(rows[0]) != 2 or any(len(row) != 7 for row in rows[1:]):
        raise ValueError("not an instance in Solomon's format")
    (count, capacity), depot, *customers = rows
    xy = np.array([row[1:3] for row in (depot, *customers)], dtype=np.float64)
    tenths = np.floor(10 * np.hypot(*(xy[:, None, :] - xy[None, :, :]).transpose(2, 0, 1))).astype(np.int64)
    clients = tuple(
        FleetClient(i, Task(10 * ready, 10 * due, 10 * service), load=load)
        for i, (_, _, _, load, ready, due, service) in enumerate(customers, start=1)
    )
    opens, closes = 10 * depot[4], 10 * depot[5]
    vehicle = FleetVehicle(0, 0, opens, closes, closes - opens, capacity=capacity)
    return Fleet(tenths, clients, (vehicle,) * count)
