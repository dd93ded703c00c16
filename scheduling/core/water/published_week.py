"""What a published schedule does to the soil in the coming week: waterings it cannot take, and what it lacks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scheduling.core.water.advice import Outlook
from scheduling.core.water.checks import Array, WaterInputError, complete


@dataclass(frozen=True)
class PublishedWeek:
    """The seven days from tomorrow, net mm or litres: put down, more than the soil takes, and lacking.

    Lacking is what the depletion would pass the readily available water by.
    """

    published: Array
    too_much: Array
    too_little: Array


def judge_published(outlook: Outlook, depletion_mm: Array, given_mm: Array) -> PublishedWeek:
    """What waterings as published, (days, zones) net mm from today on, do from this morning's depletion, (zones,).

    Day by day D = D + demand - rain counted - given (FAO-56 Eq. 85). Below 0 it runs through: too much, as far as it
    was given. Above RAW in season: too little, and from there on it counts as made up. Today's run is past, so it
    changes the soil but is neither.
    """
    depletion = complete("depletion", depletion_mm, 0)
    given = complete("given", given_mm, 0)
    if given.ndim != 2 or len(given) > len(outlook.demand_mm) or given.shape[1:] != depletion.shape:
        raise WaterInputError("given", "needs days of the outlook and one column a zone")
    too_much, too_little = np.zeros_like(given), np.zeros_like(given)
    for day, mm in enumerate(given):
        ends = depletion + outlook.demand_mm[day] - outlook.rain_mm[day] - mm
        too_much[day] = np.minimum(np.maximum(-ends, 0.0), mm)
        depletion = np.maximum(ends, 0.0)
        if day > 0:
            too_little[day] = np.where(outlook.in_season[day], np.maximum(depletion - outlook.raw_mm[day], 0.0), 0.0)
            depletion = depletion - too_little[day]
    return PublishedWeek(*(each[1:].sum(axis=0) for each in (given, too_much, too_little)))
