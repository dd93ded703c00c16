"""A site's own dates inside the season's window: from its freeze risk and from what is known of the place."""

import textwrap
from dataclasses import dataclass
from datetime import date, timedelta

from jobs.core.routing.frost import FrostLimit
from sites.core import told

REASON_CHARS = 300
FEWEST_NOTE_CHARS = 20


@dataclass(frozen=True)
class Span:
    """The first and last day on which a visit may happen, and what that rests on."""

    opens_on: date
    due_on: date
    reason: str


@dataclass(frozen=True)
class Place:
    """What is known of a site beside its height: frost comes so many days earlier in autumn, later in spring."""

    frost_days: int = 0
    note: str = ""


ORDINARY = Place()


def startup_span(window: Span, limit: FrostLimit | None, place: Place = ORDINARY) -> Span:
    """Opens when a later freeze is unlikely enough at this site, `place.frost_days` later; never before the window.

    Without a limit (no chance chosen), without a date or with too short a record the window's own first day is
    taken and moved by the same days. A date outside the window is held to it, and the reason says so.
    """
    asked = (own_date(limit) or window.opens_on) + timedelta(place.frost_days)
    words = _reason(window, limit, asked, place.frost_days, place.note)
    return Span(min(max(window.opens_on, asked), window.due_on), window.due_on, words)


def winterisation_span(window: Span, limit: FrostLimit | None, place: Place = ORDINARY) -> Span:
    """Due before an earlier freeze gets too likely at this site, `place.frost_days` earlier; never after the window.

    Otherwise as `startup_span`.
    """
    asked = (own_date(limit) or window.due_on) - timedelta(place.frost_days)
    words = _reason(window, limit, asked, -place.frost_days, place.note)
    return Span(window.opens_on, max(min(window.due_on, asked), window.opens_on), words)


def own_date(limit: FrostLimit | None) -> date | None:
    """The date that the site's own freeze record gives, if it may be relied on."""
    return limit.on if limit is not None and limit.sufficient else None


def _reason(window: Span, limit: FrostLimit | None, asked: date, later_days: int, note: str) -> str:
    if limit is None:
        head = window.reason or "the season's window"
    else:
        head = limit.reason if own_date(limit) else f"{limit.reason}: the season's window counts"
    moved = moved_words(later_days)
    outside = ""
    if not window.opens_on <= asked <= window.due_on:
        side = "before" if asked < window.opens_on else "after"
        outside = f"; its own date {told.on(asked)} lies {side} the round"
    if moved and note:
        room = max(FEWEST_NOTE_CHARS, REASON_CHARS - len(head + moved + outside) - 2)
        moved = f"{moved}: {fitting(note, room)}"
    return fitting(head, REASON_CHARS - len(moved + outside)) + moved + outside


def fitting(text: str, chars: int = REASON_CHARS) -> str:
    """The text, cut between two words where it is longer: a figure in it stays whole."""
    return text if len(text) <= chars else textwrap.shorten(text, chars, placeholder="…")


def moved_words(later_days: int) -> str:
    """ ", 7 days later", ", 1 day earlier", or nothing."""
    if not later_days:
        return ""
    days = "1 day" if abs(later_days) == 1 else f"{abs(later_days)} days"
    return f", {days} {'later' if later_days > 0 else 'earlier'}"
