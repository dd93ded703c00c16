"""What a service sheet is made from.

One rule for figures: the caller hands over the plant's description, which is printed as it is, and finished strings.
A lone figure carries its unit ("412 kPa"); a figure that stands in a table column is the bare number ("412") and its
unit stands in the heading. "" means not known: left out of a block of facts, a dash or room to write in a table.
"""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from reports.documents.controller_card import Program
from reports.documents.kit.page import Firm
from sites.core.plant import SitePlant
from sites.core.units import System


class VisitKind(StrEnum):
    """The three seasonal visits, and the call to repair something."""

    STARTUP = "startup"
    MID_SEASON = "mid_season"
    WINTERISATION = "winterisation"
    REPAIR = "repair"


@dataclass(frozen=True)
class Contact:
    """The client: whom to call and where the paper goes."""

    name: str
    phone: str = ""
    email: str = ""
    address_lines: tuple[str, ...] = ()


@dataclass(frozen=True)
class Place:
    """The site. `access_notes` only as far as the holder of the sheet may read them."""

    name: str
    address_lines: tuple[str, ...] = ()
    access_notes: str = ""
    opening_hours: str = ""
    watering_window: str = ""
    position: str = ""


@dataclass(frozen=True)
class Reading:
    """Measured at one valve and zone, bare numbers; `works` is "yes", "no" or ""."""

    resistance: str = ""
    voltage: str = ""
    flow: str = ""
    pressure: str = ""
    works: str = ""
    air_pressure: str = ""
    air_minutes: str = ""


@dataclass(frozen=True)
class ZoneRow:
    """One zone and its valve: reading when new, last reading, this visit's (completed sheet), diagnosis.

    `numbers` are those of the zones ("3", "4, 5"); `pipe` is printed as given on the winterization sheet and
    may carry its air pressure limit ("PE, at most 345 kPa").
    """

    numbers: str
    name: str
    emitter: str = ""
    pipe: str = ""
    as_new: Reading = Reading()
    last: Reading = Reading()
    now: Reading = Reading()
    diagnosis: str = ""


@dataclass(frozen=True)
class OpenFault:
    """A fault known before the visit."""

    where: str
    what: str
    since: str = ""


@dataclass(frozen=True)
class ChecklistItem:
    """One thing to do, its caution, and on a completed sheet the answer in words ("done") and a remark."""

    text: str
    caution: str = ""
    answer: str = ""
    remark: str = ""


@dataclass(frozen=True)
class Photo:
    """A baseline JPEG, already turned upright and reduced (about 800 pixels wide prints well)."""

    jpeg: bytes
    caption: str = ""


@dataclass(frozen=True)
class FaultFound:
    """A fault found on this visit; `outcome` in words ("repaired today", "proposed", "left as it is")."""

    where: str
    what: str
    outcome: str
    note: str = ""
    photos: tuple[Photo, ...] = ()


@dataclass(frozen=True)
class Outcome:
    """What a finished visit adds. Names of those who signed and when, as finished strings."""

    arrived: str
    left: str
    summary: str = ""
    faults: tuple[FaultFound, ...] = ()
    next_visit: str = ""
    technician_signed: str = ""
    client_name: str = ""
    client_signed: str = ""


@dataclass(frozen=True)
class ServiceSheet:
    """A service sheet: blank while `outcome` is None, completed with it.

    `planned` is date and time in words, `reference` the visit's number; `findings` are last season's, one
    sentence each; `programs` are the run times to set today at hand-set controllers; `live_url` is the
    visit's page, printed as a QR code. A backflow test due before `as_of` is overdue; `meters`: the site's, in words.
    """

    kind: VisitKind
    firm: Firm
    reference: str
    planned: str
    technician: str
    client: Contact
    site: Place
    plant: SitePlant
    as_of: date
    system: System = System.METRIC
    meters: str = ""
    zones: tuple[ZoneRow, ...] = ()
    findings: tuple[str, ...] = ()
    open_faults: tuple[OpenFault, ...] = ()
    checklist: tuple[ChecklistItem, ...] = ()
    parts_likely: tuple[str, ...] = ()
    programs: tuple[Program, ...] = ()
    outcome: Outcome | None = None
    instructions: str = ""
    live_url: str = ""
