"""Whether the water of a site is on: the changes that were recorded, read day by day.

The one rule of the season: a site is watered on the days it is on, and gets nothing on any other day.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from sites.core import writing

OFF, FILLING, ON, WINTER = "off", "filling", "on", "winter"
WORDS = {OFF: "off", FILLING: "filling up", ON: "on", WINTER: "shut off for winter"}
ASSUMED_OFF_DAYS = 183  # before a first startup, half a year: common practice, no source
A_DAY = dt.timedelta(days=1)


@dataclass(frozen=True)
class Standing:
    """What a site is on one day; `since` None where nobody recorded it and it is assumed."""

    state: str
    since: dt.date | None = None

    @property
    def is_on(self) -> bool:
        """Whether the site is watered."""
        return self.state == ON

    @property
    def label(self) -> str:
        """The state alone: "shut off for winter"."""
        return WORDS[self.state]

    @property
    def words(self) -> str:
        """ "shut off for winter since 21 October 2026"; an assumption says so."""
        if self.since is None:
            return "on, as long as no shut-off is recorded" if self.is_on else "off, as it was started up later"
        return f"{self.label} since {writing.day(self.since)}"


@dataclass(frozen=True)
class StateLine:
    """The changes of one site, (day, state), in order of time; on the day of a change the new state counts.

    Before the first change: a site whose first change lets water in was off for half a year at most; any other
    counts as on, so that a firm that begins in mid-season is not told that all its sites are off.
    """

    changes: tuple[tuple[dt.date, str], ...] = ()

    def at(self, day: dt.date) -> Standing:
        """The state on a day."""
        before = [change for change in self.changes if change[0] <= day]
        if not before:
            return Standing(self._assumed(day))
        state = before[-1][1]
        since = before[-1][0]
        for changed_on, earlier in reversed(before):
            if earlier != state:
                break
            since = changed_on
        return Standing(state, since)

    def _assumed(self, day: dt.date) -> str:
        if not self.changes or self.changes[0][1] not in (ON, FILLING):
            return ON
        return OFF if (self.changes[0][0] - day).days <= ASSUMED_OFF_DAYS else ON

    def spans_on(self, first: dt.date, until: dt.date) -> tuple[tuple[dt.date, dt.date], ...]:
        """The spans of days, both ends included, on which the site is watered."""
        spans: list[tuple[dt.date, dt.date]] = []
        edges = sorted({first, *self._edges(first, until)})
        for start, end in zip(edges, [*[edge - A_DAY for edge in edges[1:]], until], strict=True):
            if start > end or not self.at(start).is_on:
                continue
            if spans and spans[-1][1] == start - A_DAY:
                start = spans.pop()[0]
            spans.append((start, end))
        return tuple(spans)

    def _edges(self, first: dt.date, until: dt.date) -> Iterable[dt.date]:
        days = [day for day, _ in self.changes]
        if days:
            days.append(days[0] - dt.timedelta(days=ASSUMED_OFF_DAYS))
        return (day for day in days if first < day <= until)
