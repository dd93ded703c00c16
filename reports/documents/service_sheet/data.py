"""What a service sheet is made from.

One rule for figures: the caller hands over finished strings. A lone figure carries its unit ("412 kPa");
a figure that stands in a table column is the bare number ("412") and its unit comes from `Units`, which
prints it in the heading. "" means not known: left out of a block of facts, a dash or room to write in a
table.
"""

from dataclasses import dataclass
from enum import StrEnum

from reports.documents.controller_card import Program
from reports.documents.kit.page import Firm


class VisitKind(StrEnum):
    """The three seasonal visits, and the call to repair something."""

    STARTUP = "startup"
    MID_SEASON = "mid_season"
    WINTERISATION = "winterisation"
    REPAIR = "repair"


@dataclass(frozen=True)
class Units:
    """Units of table columns, as the firm shows them."""

    flow: str = "L/min"
    pressure: str = "kPa"
    resistance: str = "ohm"
    voltage: str = "V"


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
class Supply:
    """Where the water comes from: `kind` in words ("Mains", "Well with pressure switch"), figures with units."""

    kind: str
    static_pressure: str = ""
    flow_available: str = ""
    shut_off: str = ""
    blow_out_point: str = ""
    meter: str = ""


@dataclass(frozen=True)
class Pump:
    """A pump, figures with units ("10 s", "6 an hour")."""

    name: str
    prime_delay: str = ""
    minimum_run: str = ""
    most_starts: str = ""
    notes: str = ""


@dataclass(frozen=True)
class BackflowAssembly:
    """A backflow assembly and its next test; `overdue` prints the due date as overdue."""

    name: str
    location: str = ""
    last_test: str = ""
    test_due: str = ""
    overdue: bool = False


@dataclass(frozen=True)
class ControllerFacts:
    """A controller on the site."""

    name: str
    location: str = ""
    terminals: str = ""
    supply: str = ""
    notes: str = ""


@dataclass(frozen=True)
class Reading:
    """Measured at one valve and zone, bare numbers in `Units`; `works` is "yes", "no" or ""."""

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

    `numbers` are those of the zones ("3", "4, 5"); `pipe` is printed as given on the winterisation sheet and
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
class PartUsed:
    """A part built in: `quantity` as text ("2", "3 m")."""

    name: str
    quantity: str
    where: str = ""


@dataclass(frozen=True)
class Outcome:
    """What a finished visit adds. Names of those who signed and when, as finished strings."""

    arrived: str
    left: str
    summary: str = ""
    faults: tuple[FaultFound, ...] = ()
    parts: tuple[PartUsed, ...] = ()
    recommendations: tuple[str, ...] = ()
    next_visit: str = ""
    technician_signed: str = ""
    client_name: str = ""
    client_signed: str = ""


@dataclass(frozen=True)
class ServiceSheet:
    """A service sheet: blank while `outcome` is None, completed with it.

    `planned` is date and time in words, `reference` the visit's number; `findings` are last season's, one
    sentence each; `programs` are the run times to set today at hand-set controllers; `live_url` is the
    visit's page, printed as a QR code.
    """

    kind: VisitKind
    firm: Firm
    reference: str
    planned: str
    technician: str
    client: Contact
    site: Place
    units: Units = Units()
    supplies: tuple[Supply, ...] = ()
    pumps: tuple[Pump, ...] = ()
    backflow: tuple[BackflowAssembly, ...] = ()
    controllers: tuple[ControllerFacts, ...] = ()
    zones: tuple[ZoneRow, ...] = ()
    findings: tuple[str, ...] = ()
    open_faults: tuple[OpenFault, ...] = ()
    checklist: tuple[ChecklistItem, ...] = ()
    parts_likely: tuple[str, ...] = ()
    programs: tuple[Program, ...] = ()
    outcome: Outcome | None = None
    instructions: str = ""
    live_url: str = ""
