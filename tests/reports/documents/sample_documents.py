"""Example dataclasses of every document kind; everybody in them is invented. Deterministic."""

import datetime as dt
from io import BytesIO

from PIL import Image, ImageDraw

from jobs.core.checklists import DEFAULT_CHECKLISTS
from reports.documents.controller_card import ControllerCard, Program, ZoneMinutes
from reports.documents.kit.charts import Amount, CurvePoint
from reports.documents.kit.page import Firm, Paper
from reports.documents.one_off_run import OneOffRun, OneOffStep
from reports.documents.proposal import FoundFault, Line, Proposal
from reports.documents.run_sheet import RunSheet, Stop
from reports.documents.season_report import (
    Assumption,
    CostLine,
    FaultLine,
    Headline,
    NextDate,
    Recommendation,
    SeasonReport,
    VisitDone,
    WaterMonth,
    WeatherCurve,
    WeatherMonth,
    ZoneUse,
)
from reports.documents.service_sheet import (
    ChecklistItem,
    Contact,
    FaultFound,
    OpenFault,
    Outcome,
    Photo,
    Place,
    Reading,
    ServiceSheet,
    VisitKind,
    ZoneRow,
)
from sites.core.drawing import Drawing, Words, box
from sites.core.plant import Backflow, Controller, Pump, SitePlant, Supply

FIRM = Firm(
    name="Alder & Brook Irrigation",
    address_lines=("48 Millrace Lane", "Eastfield"),
    phone="555 0142",
    email="office@alderbrook.example",
    website="alderbrook.example",
    licence="Contractor licence 00-0000 (example)",
)

MONTHS = ("April", "May", "June", "July", "August", "September", "October")
PLANTS = (
    "Front lawn",
    "Rose border",
    "Hedge, north side",
    "Courtyard planters",
    "Play meadow",
    "Orchard trees",
)
EMITTERS = ("Spray heads", "Drip line", "Rotors", "Drip line", "Rotors", "Bubblers")


def photo_jpeg(width: int = 480, height: int = 360, shade: int = 120) -> bytes:
    """A drawn stand-in for a photo, as baseline JPEG."""
    image = Image.new("RGB", (width, height), (shade, shade + 20, shade - 20))
    pen = ImageDraw.Draw(image)
    pen.ellipse((width // 4, height // 4, width * 3 // 4, height * 3 // 4), fill=(60, 60, 70))
    pen.line((0, height, width, 0), fill=(220, 220, 210), width=9)
    buffer = BytesIO()
    image.save(buffer, "JPEG", quality=70)
    return buffer.getvalue()


def zone_rows(count: int, *, measured: bool = False) -> tuple[ZoneRow, ...]:
    """`count` zones with plausible readings; every seventh coil has drifted."""
    rows = []
    for number in range(count):
        ohm, flow = 30.0 + number % 5, 38.0 + 3 * (number % 6)
        drifted = number % 7 == 3
        now_ohm = ohm * 1.46 if drifted else ohm + 0.4
        now = Reading(f"{now_ohm:.1f}", "26.1", f"{flow - 1:.1f}", f"{312 - 2 * (number % 9)}", "yes", "310", "2.5")
        rows.append(
            ZoneRow(
                numbers=f"A{number + 1}",
                name=f"{PLANTS[number % 6]} {number // 6 + 1}",
                emitter=EMITTERS[number % 6],
                pipe="drip" if "rip" in EMITTERS[number % 6] else ("PE", "PVC")[number % 2],
                as_new=Reading(resistance=f"{ohm:.1f}", flow=f"{flow:.1f}"),
                last=Reading(resistance=f"{ohm + 0.3:.1f}", flow=f"{flow - 0.5:.1f}", air_pressure="305"),
                now=now if measured else Reading(),
                diagnosis=(
                    f"Coil reads {now_ohm:.1f} ohm, 46 % above new: a corroded splice or a nearly broken wire. "
                    "Remake the splice and measure again."
                    if measured and drifted
                    else ""
                ),
            )
        )
    return tuple(rows)


def program(count: int, name: str = "Program 1") -> Program:
    """A program that runs `count` zones."""
    zones = tuple(
        ZoneMinutes(
            f"A{number + 1}",
            f"{PLANTS[number % 6]} {number // 6 + 1}",
            f"{10 + number % 6} min",
            "2 x 6 min, 30 min apart" if number % 9 == 4 else "",
        )
        for number in range(count)
    )
    return Program("Controller A, pump house", name, "Mon, Wed, Fri", "05:00", zones, "3 h 12 min")


CHECKLISTS: dict[VisitKind, tuple[ChecklistItem, ...]] = {
    kind: tuple(ChecklistItem(step.text, step.caution) for step in DEFAULT_CHECKLISTS[kind.value])
    for kind in VisitKind
}


PLANT = SitePlant(
    name="Quarry Hill Court",
    supplies=(
        Supply(
            1,
            "Well",
            "well",
            static_pressure_kpa=412,
            flow_available_l_min=65,
            shutoff_location="Pump house, red lever",
            pump=Pump("Submersible pump, 1.5 kW", prime_delay_s=10),
        ),
        Supply(2, "Roof water tank", "gravity", static_pressure_kpa=35, flow_available_l_min=20),
    ),
    backflows=(
        Backflow(
            1,
            "double_check",
            serial_number="DC-25",
            location="Box at the street",
            last_tested_on=dt.date(2025, 4, 2),
            test_due_on=dt.date(2026, 4, 2),
        ),
    ),
    controllers=(Controller(1, "Controller A", 1, "Pump house", terminals=12, transformer_va=40),),
)


def blank_sheet(kind: VisitKind = VisitKind.STARTUP, zone_count: int = 9, **changes: object) -> ServiceSheet:
    """A blank sheet of a site with a pump, a backflow assembly and one controller."""
    given: dict[str, object] = {
        "kind": kind,
        "firm": FIRM,
        "reference": "V-2031",
        "planned": "Tue 14 April 2026, 08:30 to 10:00",
        "technician": "Ines Halloran",
        "client": Contact("Quarry Hill Housing Association", "555 0177", "board@quarryhill.example"),
        "site": Place(
            "Quarry Hill Court",
            ("12 Quarry Hill Road", "Eastfield"),
            "Key for the pump house at the caretaker's, ground floor left. Dog in yard 3; ring first.",
            "Mon to Fri 07:00 to 17:00",
            "22:00 to 06:00, not on Sundays",
            "47.6131, -122.3052",
        ),
        "plant": PLANT,
        "as_of": dt.date(2026, 4, 14),
        "meters": "M-7781",
        "zones": zone_rows(zone_count),
        "findings": (
            "Heads in zone A2 sat 3 cm too low after the kerb was raised.",
            "Filter half clogged in July.",
        ),
        "open_faults": (OpenFault("A4 Courtyard planters", "Coil resistance rising", "9 Oct 2025"),),
        "checklist": CHECKLISTS[kind],
        "parts_likely": ("Splice kits, 4", "Coil 24 V AC, 1", "Spray nozzles, assorted"),
        "programs": () if kind is VisitKind.WINTERISATION else (program(zone_count),),
        "instructions": "Ask about the second meter.",
        "live_url": "https://rillbook.example/visits/2031/",
    }
    return ServiceSheet(**{**given, **changes})  # type: ignore[arg-type]


def completed_sheet(kind: VisitKind = VisitKind.STARTUP, zone_count: int = 9, **changes: object) -> ServiceSheet:
    """The same visit, done."""
    outcome = Outcome(
        arrived="08:34",
        left="10:12",
        summary="System filled and run. One splice remade, two heads raised. The system is in service.",
        faults=(
            FaultFound(
                "A4 Courtyard planters 1",
                "Splice corroded, coil circuit 46 % above new",
                "Repaired today",
                "Splice remade in the box by the gate; 33.2 ohm after the repair.",
                (Photo(photo_jpeg(), "Splice as found"), Photo(photo_jpeg(360, 480, 90), "After the repair")),
            ),
            FaultFound("Main line", "Weeping joint behind the pump house", "Proposed", "See recommendations."),
        ),
        next_visit="Mid-season check, week of 6 July 2026",
        technician_signed="14 Apr 2026, 10:11",
        client_name="Martha Oyelaran",
        client_signed="14 Apr 2026, 10:12",
    )
    answers = ("done", "done", "done", "done", "not done", "done", "done")
    items = tuple(
        ChecklistItem(item.text, item.caution, answer, "Tester comes on 4 May" if answer == "not done" else "")
        for item, answer in zip(CHECKLISTS[kind], answers, strict=False)
    )
    given: dict[str, object] = {
        "zones": zone_rows(zone_count, measured=True),
        "checklist": items,
        "planned": "Tue 14 April 2026",
        "outcome": outcome,
    }
    return blank_sheet(kind, zone_count, **{**given, **changes})


def _amount(value: float) -> Amount:
    return Amount(value, f"{value:,.0f}")


def weeks() -> tuple[CurvePoint, ...]:
    """Thirty weeks of ET, normal ET and rain, mm a week."""
    points = []
    for week in range(30):
        normal = 12 + 26 * (1 - abs(week - 15) / 15)
        rain = max(0.0, 22 - 2.2 * week) if week < 12 else float((week * 7) % 19) * (0.3 if week < 22 else 1.2)
        label = MONTHS[week // 4][:3] if week % 4 == 0 and week // 4 < 7 else ""
        points.append(CurvePoint(label, normal + ((week * 5) % 7 - 2.0), normal, rain))
    return tuple(points)


def season_report(zone_count: int = 9, **changes: object) -> SeasonReport:
    """A whole season of the same site."""
    used = (61.0, 118.0, 187.0, 268.0, 241.0, 132.0, 48.0)
    last = (70.0, 131.0, 201.0, 290.0, 283.0, 141.0, 51.0)
    budget = (66.0, 124.0, 196.0, 262.0, 236.0, 138.0, 50.0)
    et, rain = (62.0, 95.0, 121.0, 152.0, 133.0, 82.0, 41.0), (71.0, 48.0, 39.0, 6.0, 14.0, 44.0, 96.0)
    given: dict[str, object] = {
        "firm": FIRM,
        "reference": "SR-2026-017",
        "client_name": "Quarry Hill Housing Association",
        "site_name": "Quarry Hill Court",
        "site_address_lines": ("12 Quarry Hill Road", "Eastfield"),
        "season": "2026",
        "period": "1 April to 31 October 2026",
        "prepared_on": "6 November 2026",
        "prepared_by": "Tomas Reyes-Lindqvist",
        "summary": (
            "July and August were drier than normal. Your site used 1,055 m³, 2 % less than its budget and 10 % "
            "less than last year, and the lawns came through without damage. Two faults were found and repaired; one "
            "repair is still open and we recommend it before next summer."
        ),
        "headlines": (
            Headline("1,055 m³", "water used", "2 % under budget"),
            Headline("−10 %", "against last year", "1,167 m³ in 2025"),
            Headline("3", "visits", "all on the day planned"),
            Headline("$2,384", "water cost", "$2,637 in 2025"),
        ),
        "weather_text": "The season asked for 686 mm of water (reference ET), 5 % more than normal.",
        "weather_curve": WeatherCurve(weeks(), Amount(30, "30 mm a week")),
        "weather_months": tuple(
            WeatherMonth(name, _amount(et[i]), _amount(rain[i]), _amount(et[i] * 0.95), _amount(rain[i] * 1.1))
            for i, name in enumerate(MONTHS)
        ),
        "weather_source": "Daily station data, Eastfield; normals from the four years on record.",
        "water_text": "Every month but July stayed near its budget.",
        "water_months": tuple(
            WaterMonth(name, _amount(used[i]), _amount(budget[i]), _amount(last[i])) for i, name in enumerate(MONTHS)
        ),
        "water_total": WaterMonth("Season", _amount(sum(used)), _amount(sum(budget)), _amount(sum(last))),
        "zones": tuple(
            ZoneUse(
                f"A{n + 1}",
                f"{PLANTS[n % 6]} {n // 6 + 1}",
                _amount(60 + 17 * (n % 6)),
                _amount(64 + 16 * (n % 6)),
                _amount(70 + 18 * (n % 6)),
            )
            for n in range(zone_count)
        ),
        "visits": (
            VisitDone("14 Apr 2026", "Spring startup", "Ines Halloran", "Filled, 9 zones run, schedule set."),
            VisitDone("7 Jul 2026", "Mid-season check", "Ines Halloran", "Filter cleaned, two heads raised."),
            VisitDone("20 Oct 2026", "Winterization", "Per Abiodun", "9 zones blown clear, pump casing drained."),
        ),
        "faults": (
            FaultLine("14 Apr 2026", "A4 Courtyard planters", "Corroded splice", "Repaired 14 Apr 2026"),
            FaultLine("14 Apr 2026", "Main line", "Weeping joint behind the pump house", "Open: proposed"),
        ),
        "recommendations": (
            Recommendation("Replace 3 m of main", "The joint loses about 40 L a day.", "9 m³ a season", "$420"),
            Recommendation(
                "Pressure regulation in zones A1 and A5", "Spray drifts at 480 kPa.", "60 m³ a season", "$260"
            ),
        ),
        "costs": (CostLine("Water, 1,055 m³", "$2,184.00"), CostLine("Standing charge, 7 months", "$200.00")),
        "cost_total": "$2,384.00",
        "next_dates": (
            NextDate("Backflow assembly test", "by 12 May 2027"),
            NextDate("Spring startup", "week of 12 April 2027"),
            NextDate("Mid-season check", "week of 5 July 2027"),
            NextDate("Winterization", "week of 18 October 2027"),
        ),
        "assumptions": (
            Assumption("Distribution uniformity, zones not measured", "0.65", "Common practice for spray zones"),
            Assumption("Plant factor, hedge", "0.5", "Published landscape coefficient range"),
        ),
    }
    return SeasonReport(**{**given, **changes})  # type: ignore[arg-type]


def run_sheet(stop_count: int = 7, **changes: object) -> RunSheet:
    """One technician's day."""
    made = tuple(
        Stop(
            arrive=f"{8 + n}:05",
            leave=f"{8 + n}:50",
            site_name=("Quarry Hill Court", "Villa Sandoval", "Linden School, sports ground")[n % 3],
            client_name="Quarry Hill Housing Association",
            phone="555 0177",
            address_lines=(f"{12 + n} Quarry Hill Road", "Eastfield"),
            access_notes="Key at the caretaker's, ground floor left." if n % 2 == 0 else "",
            visit="Spring startup",
            work=("9 zones, 1 open fault", "Set run times at controller A"),
            drive="12 min, 7.4 km",
            caution="Pump on site: fill slowly." if n % 3 == 0 else "",
        )
        for n in range(stop_count)
    )
    given: dict[str, object] = {
        "firm": FIRM,
        "reference": "Day of Ines Halloran, 14 Apr 2026",
        "technician": "Ines Halloran",
        "date": "Tuesday 14 April 2026",
        "starts": "07:45",
        "ends": "16:10",
        "driving": "1 h 24 min, 52 km",
        "stops": made,
    }
    return RunSheet(**{**given, **changes})  # type: ignore[arg-type]


def controller_card(zone_count: int = 9, **changes: object) -> ControllerCard:
    """The card of one controller with two programs."""
    given: dict[str, object] = {
        "firm": FIRM,
        "reference": "Schedule 2026, revision 3",
        "plant": PLANT,
        "controller": PLANT.controllers[0],
        "revision": "2026, revision 3",
        "published_on": "2 July 2026",
        "programs": (program(zone_count), program(min(zone_count, 2), "Program 2")),
    }
    return ControllerCard(**{**given, **changes})  # type: ignore[arg-type]


def one_off_run(zone_count: int = 6, **changes: object) -> OneOffRun:
    """A test of all zones of a pumped controller."""
    steps = [OneOffStep("10:00:00", "0:00", "Start pump", "", f"{2 * zone_count}:00")]
    for number in range(1, zone_count + 1):
        at = f"10:{2 * number % 60:02d}:05"
        steps.append(
            OneOffStep(at, f"{2 * number}:05", f"Open Valve {number} (zone {number} Lawn)", str(number), "2:10")
        )
    given: dict[str, object] = {
        "firm": FIRM,
        "reference": "Quarry Hill Court, controller 4",
        "site_name": "Quarry Hill Court",
        "controller": "Controller A",
        "location": "Pump house",
        "what": "Test of all zones at 2 min",
        "date": "6 July 2026",
        "starts": "10:00",
        "ends": "10:14",
        "verdict": "A guide for a person at the switch.",
        "safe": True,
        "steps": tuple(steps),
        "know": ("One-off run waters 12 min outside the permitted time, until 10:14",),
        "mishaps": ("The command to stop the pump is lost. The pump runs on until somebody stops it.",),
        "pump_rule": "start it 5 s after the first valve is open.",
        "call": ("Thistledown Watering Service: 01 555 0100",),
        "margins": ("1  3.0 s to spare at 10:02:05: a path is open while the pump runs",),
        "chart": Drawing(400, 60, "", [box(10, 10, 380, 40), Words(20, 34, "Pump", 12)]),
    }
    return OneOffRun(**{**given, **changes})  # type: ignore[arg-type]


LETTER_FIRM = Firm(FIRM.name, FIRM.address_lines, FIRM.phone, FIRM.email, paper=Paper.LETTER, lang="en-US")


def proposal(line_count: int = 4, **changed) -> Proposal:
    """A proposal; every third line names a long fault."""
    lines = tuple(
        Line(
            what=("Service technician", "Coil, 24 V", "PE pipe, 32 mm, laid and tried under pressure")[n % 3],
            repairs=("the work as a whole", "Valve weeps, valve 3", "Pipe or fitting leaks, zone 2 Rose border")[
                n % 3
            ],
            quantity=("1.5 h", "2 pc", "12 m")[n % 3],
            price="1,068.50",
            amount=f"{1602.75 + n:,.2f}",
        )
        for n in range(line_count)
    )
    given = {
        "firm": FIRM,
        "number": "17",
        "client_name": "Larkfield Homes Cooperative",
        "site_name": "Larkfield Court",
        "site_address_lines": ("12 Sedge Street", "00420 Eastfield"),
        "made_on": "6 April 2026",
        "valid_until": "6 May 2026",
        "currency": "USD",
        "faults": (FoundFault("Valve weeps", "valve 3", "Water loss", "1 April 2026", "Drips for minutes."),),
        "lines": lines,
        "total": "64,110.50",
        "note": "Tax is included.",
        "supersedes": "16",
        "care": ("Local codes come first.", "Do not bypass the backflow assembly."),
    }
    return Proposal(**(given | changed))
