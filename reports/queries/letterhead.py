"""What every document shares: the firm's letterhead and figures in the firm's units."""

import datetime as dt
from dataclasses import replace
from zoneinfo import ZoneInfo

from django.utils import timezone

from reports.documents.kit.page import Firm as Letterhead
from reports.documents.kit.page import Paper
from sites.core import writing
from sites.core.units import format_quantity
from sites.models import Firm, Site


def letterhead(firm: Firm) -> Letterhead:
    return Letterhead(
        name=firm.name,
        address_lines=tuple(line for line in firm.address.splitlines() if line.strip()),
        phone=firm.phone,
        email=firm.email,
        licence=firm.licence_text,
        paper=Paper(firm.paper),
        lang=firm.locale,
    )


def letterhead_in(firm: Firm, code: str) -> Letterhead:
    """The letterhead of a document in this language, for the page numbers and the file's language tag."""
    return replace(letterhead(firm), lang=code)


def amount(value: float | None, quantity: str, firm: Firm, *, with_unit: bool = True) -> str:
    """A stored SI value as printed; empty where it is not known, so that the document leaves it out."""
    return format_quantity(value, quantity, firm.units, with_unit=with_unit, missing="")


def plain(value: float | None, unit: str = "", decimals: int = 0) -> str:
    """A number that has one unit everywhere (ohm, V, s); empty where it is not known."""
    if value is None:
        return ""
    return f"{writing.number(value, decimals)} {unit}".strip()


def day(date: dt.date | None) -> str:
    """ "6 April 2026"; empty for no date."""
    return writing.long_day(date) if date else ""


def date_at(moment: dt.datetime, site: Site) -> dt.date:
    """The date at the site: stored moments are UTC, where an evening in the west is the next day already."""
    return timezone.localdate(moment, timezone=ZoneInfo(site.time_zone))


def clock(moment: dt.datetime | dt.time | None, site: Site) -> str:
    """Hours and minutes at the site."""
    if moment is None:
        return ""
    if isinstance(moment, dt.datetime):
        moment = timezone.localtime(moment, ZoneInfo(site.time_zone)).time()
    return writing.clock(moment)


def address_lines(site: Site) -> tuple[str, ...]:
    return tuple(line for line in (site.address, f"{site.postcode} {site.town}".strip()) if line)


def when_planned(date: dt.date | None, at: dt.time | None) -> str:
    if date is None:
        return "not planned yet"
    return writing.full_day(date) + (f", about {at:%H:%M}" if at else "")
