"""Calendar files after RFC 5545: a technician's feed, a client's appointment."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from icalendar import Calendar, Event, vCalAddress, vGeo, vUri

PRODUCT = "-//Rillbook//Appointments//EN"


@dataclass(frozen=True)
class Entry:
    """One event. `starts` and `ends` are aware times, or both dates for all-day events (`ends`: the day after).

    `uid` names the event for ever and `sequence` rises with every change, so that calendars replace what they hold.
    """

    uid: str
    sequence: int
    starts: dt.datetime | dt.date
    ends: dt.datetime | dt.date
    summary: str
    location: str = ""
    description: str = ""
    latitude: float | None = None
    longitude: float | None = None
    url: str = ""
    cancelled: bool = False
    organizer: tuple[str, str] | None = None  # (name, email address)
    attendee: tuple[str, str] | None = None


def calendar_file(entries: Sequence[Entry], *, stamp: dt.datetime, method: str = "PUBLISH", name: str = "") -> bytes:
    """An iCalendar object, times in UTC so that it needs no time zone tables; `stamp` (aware) is when it was made.

    `method` is PUBLISH for a feed, REQUEST or CANCEL (RFC 5546) for a mail; those name organizer and attendee.
    """
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", method)
    if name:
        calendar.add("name", name)  # RFC 7986
        calendar.add("x-wr-calname", name)  # what clients read before that
    for entry in entries:
        calendar.add_component(_event(entry, stamp.astimezone(dt.UTC)))
    return calendar.to_ical()


def _event(entry: Entry, stamp: dt.datetime) -> Event:
    event = Event()
    event.add("uid", entry.uid)
    event.add("dtstamp", stamp)
    event.add("sequence", entry.sequence)
    event.add("dtstart", _in_utc(entry.starts))
    event.add("dtend", _in_utc(entry.ends))
    event.add("summary", entry.summary)
    event.add("status", "CANCELLED" if entry.cancelled else "CONFIRMED")
    event.add("transp", "OPAQUE")
    if entry.location:
        event.add("location", entry.location)
    if entry.description:
        event.add("description", entry.description)
    if entry.latitude is not None and entry.longitude is not None:
        event.add("geo", vGeo((entry.latitude, entry.longitude)))
    if entry.url:
        event.add("url", vUri(entry.url))
    if entry.organizer:
        event.add("organizer", _address(*entry.organizer))
    if entry.attendee:
        attendee = _address(*entry.attendee)
        attendee.params["ROLE"], attendee.params["PARTSTAT"] = "REQ-PARTICIPANT", "NEEDS-ACTION"
        attendee.params["RSVP"] = "FALSE"
        event.add("attendee", attendee)
    return event


def _in_utc(moment: dt.datetime | dt.date) -> dt.datetime | dt.date:
    if isinstance(moment, dt.datetime):
        if moment.tzinfo is None:
            raise ValueError("a calendar entry needs a time with its zone")
        return moment.astimezone(dt.UTC)
    return moment


def _address(name: str, address: str) -> vCalAddress:
    who = vCalAddress(f"mailto:{address}")
    # A quote or a control character would break the parameter out of its quotes (RFC 5545, 3.2).
    who.params["CN"] = "".join(c for c in name if c.isprintable() and c != '"')
    return who
