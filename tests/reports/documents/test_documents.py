"""Every document kind: the given figures are printed, inside the page, nothing over anything else."""

import dataclasses
import datetime as dt
import subprocess
import sys
from functools import cache
from io import BytesIO
from pathlib import Path

import pypdfium2 as pdfium
import pytest
from pypdf import PdfReader

from jobs.core.cautions import CAUTIONS
from reports.documents.controller_card import Program, controller_card_pdf
from reports.documents.kit.blocks import Gap, Together, paragraph
from reports.documents.kit.charts import Amount
from reports.documents.kit.look import MM
from reports.documents.kit.page import SIDE, Document, pdf_bytes
from reports.documents.one_off_run import one_off_run_pdf
from reports.documents.proposal import proposal_pdf
from reports.documents.run_sheet import RunSheet, run_sheet_pdf
from reports.documents.season_report import (
    Headline,
    NextDate,
    SeasonReport,
    WaterMonth,
    season_report_pdf,
    season_reports_pdf,
)
from reports.documents.service_sheet import (
    Contact,
    Photo,
    Place,
    ServiceSheet,
    VisitKind,
    service_sheet_pdf,
    service_sheets_pdf,
)
from sites.core.plant import Controller, SitePlant
from sites.core.units import System
from tests.reports.documents import sample_documents as samples
from tests.reports.documents.page_boxes import (
    into_the_foot,
    outside,
    overlapping,
    pages_of,
    squeezed,
    text_of,
    words_outside,
)

LONG = "Wohnungsbaugenossenschaft " * 6 + "Donaudampfschifffahrtsgesellschaftskapitänswitwenverein" * 3


@cache
def every_document() -> dict[str, bytes]:
    made = {f"blank {kind}": service_sheet_pdf(samples.blank_sheet(kind)) for kind in VisitKind}
    made |= {f"done {kind}": service_sheet_pdf(samples.completed_sheet(kind)) for kind in VisitKind}
    made["report"] = season_report_pdf(samples.season_report())
    made["run sheet"] = run_sheet_pdf(samples.run_sheet())
    made["one-off run"] = one_off_run_pdf(samples.one_off_run())
    made["proposal"] = proposal_pdf(samples.proposal())
    made["card"] = controller_card_pdf(samples.controller_card())
    return made


PLANT_FACTS = [
    "Well (well with pressure switch)", "412 kPa", "65.0 L/min", "Pump house, red lever", "M-7781",
    "Roof water tank (gravity or tank)", "35 kPa", "20.0 L/min",
    "Submersible pump, 1.5 kW", "Prime delay 10 s, shortest run 60 s, most starts 6 an hour",
    "double check assembly DC-25", "Box at the street", "Test due 2 April 2026: OVERDUE", "Last test 2 April 2025",
    "Controller A", "Pump house", "12 terminals, 24 V AC, 40 VA", "run times set by hand",
]  # fmt: skip


def strings_in(thing: object) -> list[str]:
    """Every string anywhere inside a dataclass, apart from names that are not printed."""
    if isinstance(thing, SitePlant | Controller | System):
        return []  # keys and figures of a register: what is printed of them stands in PLANT_FACTS
    if isinstance(thing, str):
        return [thing]
    if isinstance(thing, tuple):
        return [text for part in thing for text in strings_in(part)]
    if dataclasses.is_dataclass(thing):
        skipped = ("firm", "kind", "units", "depth_unit", "volume_unit", "live_url", "lang")
        fields = [field.name for field in dataclasses.fields(thing) if field.name not in skipped]
        return [text for name in fields for text in strings_in(getattr(thing, name))]
    return []


def assert_laid_out_well(pdf: bytes) -> None:
    assert outside(pdf) == []
    assert overlapping(pdf) == []
    assert into_the_foot(pdf) == []


NAMES = [f"{state} {kind}" for state in ("blank", "done") for kind in VisitKind] + [
    "report",
    "run sheet",
    "one-off run",
    "proposal",
    "card",
]


@pytest.mark.parametrize("name", NAMES)
def test_all_text_is_inside_the_page_and_none_overlaps(name):
    assert_laid_out_well(every_document()[name])
    assert words_outside(every_document()[name]) == []


@pytest.mark.parametrize("count", [1, 2, 24, 60])
def test_any_number_of_zones_is_laid_out_well(count):
    for firm in (samples.FIRM, samples.LETTER_FIRM):
        for kind in VisitKind:
            assert_laid_out_well(service_sheet_pdf(samples.blank_sheet(kind, count, firm=firm)))
            assert_laid_out_well(service_sheet_pdf(samples.completed_sheet(kind, count, firm=firm)))
        assert_laid_out_well(season_report_pdf(samples.season_report(count, firm=firm)))
        assert_laid_out_well(controller_card_pdf(samples.controller_card(count, firm=firm)))
        assert_laid_out_well(one_off_run_pdf(samples.one_off_run(count, firm=firm)))


@pytest.mark.parametrize("count", [1, 2, 60])
def test_a_proposal_of_any_length_is_laid_out_well_and_prints_everything(count):
    for firm in (samples.FIRM, samples.LETTER_FIRM):
        proposal = samples.proposal(count, firm=firm)
        pdf = proposal_pdf(proposal)
        assert_laid_out_well(pdf)
        text = squeezed(text_of(pdf))
        assert [given for given in strings_in(proposal) if squeezed(given) not in text] == []
    assert_laid_out_well(proposal_pdf(samples.proposal(count, client_name=LONG, site_name=LONG, lang="de")))
    assert_laid_out_well(proposal_pdf(samples.proposal(0, faults=(), note="", supersedes="", care=())))


def test_a_blank_sheet_prints_every_figure_it_was_given():
    sheet = samples.blank_sheet(VisitKind.STARTUP, 24)
    # The air pressure of last autumn stands on the winterization sheet only.
    zones = tuple(
        dataclasses.replace(zone, pipe="", last=dataclasses.replace(zone.last, air_pressure=""))
        for zone in sheet.zones
    )
    sheet = dataclasses.replace(sheet, zones=zones)
    text = squeezed(text_of(service_sheet_pdf(sheet)))
    assert [given for given in [*strings_in(sheet), *PLANT_FACTS] if squeezed(given) not in text] == []


def test_a_completed_sheet_prints_what_was_measured_found_and_answered():
    sheet = samples.completed_sheet(VisitKind.STARTUP, 24)
    text = squeezed(text_of(service_sheet_pdf(sheet)))
    assert sheet.outcome is not None
    given = [*strings_in(sheet.outcome), *[answer.answer for answer in sheet.checklist]]
    for zone in sheet.zones:
        now = zone.now
        given += [zone.diagnosis, now.resistance, now.voltage, now.flow, now.pressure]
    assert [figure for figure in given if squeezed(figure) not in text] == []


def test_a_zone_row_reads_new_last_and_now_in_this_order():
    sheet = samples.completed_sheet(VisitKind.STARTUP, 1)
    assert "A1 Front lawn 1 Spray heads 30.0 30.3 30.4 26.1 38.0 37.5 37.0 312 yes" in text_of(
        service_sheet_pdf(sheet)
    )


def test_a_season_report_prints_every_figure_it_was_given():
    report = samples.season_report(24)
    text = squeezed(text_of(season_report_pdf(report)))
    assert [given for given in strings_in(report) if squeezed(given) not in text] == []
    assert "July 268 262 290" in text_of(season_report_pdf(report))


def test_run_sheets_and_the_controller_card_print_every_string():
    printed = (
        (samples.run_sheet(), run_sheet_pdf),
        (samples.one_off_run(), one_off_run_pdf),
        (samples.controller_card(), controller_card_pdf),
    )
    for thing, make in printed:
        text = squeezed(text_of(make(thing)))
        assert [given for given in strings_in(thing) if squeezed(given) not in text] == []


def test_an_unsafe_manual_run_prints_why_and_no_step_to_follow():
    story = ("10:02:07 Valve 1 is shut", "10:02:09 the pump works against closed valves")
    text = text_of(one_off_run_pdf(samples.one_off_run(safe=False, verdict="Rule broken.", story=story)))
    assert "Do not run this" in text
    assert all(line in text for line in story)
    assert "Command by command" not in text and "Open Valve 1" not in text


def test_the_winterisation_sheet_carries_the_air_cautions_with_their_limits():
    text = text_of(service_sheet_pdf(samples.blank_sheet(VisitKind.WINTERISATION)))
    for words in ("345 kPa (50 psi)", "550 kPa (80 psi)", "207 kPa (30 psi)", "common practice, no standard"):
        assert words in text
    for words in (
        "Eye and hearing protection",
        "Never blow air through a pump",
        "never walk away from a system",
    ):
        assert words in text


@pytest.mark.parametrize("kind", VisitKind)
def test_every_blank_sheet_defers_to_local_code_and_licensed_trades(kind):
    text = text_of(service_sheet_pdf(samples.blank_sheet(kind)))
    assert "Local codes, the water supplier's rules" in text
    assert [point for point in CAUTIONS[kind.value] if squeezed(point) not in squeezed(text)] == []
    assert "licensed for them where you work" in text
    assert "Switch off and lock the supply" in text


def test_the_code_on_a_sheet_leads_to_the_page_of_the_visit():
    """Read back by the shapes: the drawn modules are those of the address, and no code is there without one."""
    import segno

    address = "https://rillbook.example/visits/2031/"
    page = pdfium.PdfDocument(service_sheet_pdf(samples.blank_sheet(live_url=address)))[0]
    picture = page.render(scale=6, grayscale=True).to_pil()

    def dark(x: float, y: float) -> bool:
        return picture.getpixel((round(x * 6), round(y * 6))) < 128

    modules = [[bool(module) for module in row] for row in segno.make_qr(address, error="m").matrix]
    size = 52.0 / (len(modules) + 8)
    right, top = 595.28 - SIDE, 33 * MM
    left = right - 52.0
    found = [
        [dark(left + (4.5 + x) * size, top + (4.5 + y) * size) for x in range(len(modules))]
        for y in range(len(modules))
    ]
    assert found == modules
    assert "this visit, live" not in text_of(service_sheet_pdf(samples.blank_sheet(live_url="")))


def test_units_of_the_firm_stand_in_the_headings():
    sheet = samples.blank_sheet(system=System.US)
    text = text_of(service_sheet_pdf(sheet))
    assert "Flow, gpm" in text
    assert "Pressure, psi" in text
    assert "L/min" not in text
    assert "kPa" not in text


def test_an_empty_register_gives_a_sheet_that_says_what_is_missing():
    client, place = Contact("A. Client"), Place("A site")
    bare = ServiceSheet(VisitKind.STARTUP, samples.FIRM, "", "", "", client, place, SitePlant(), dt.date(2026, 4, 1))
    pdf = service_sheet_pdf(bare)
    text = text_of(pdf)
    assert "No zone is recorded for this site." in text
    assert "Nothing is recorded about supply" in text
    assert_laid_out_well(pdf)


def test_an_empty_season_gives_a_report_that_says_so():
    bare = SeasonReport(samples.FIRM, "", "A. Client", "A site", (), "2026", "April to October 2026", "6 Nov 2026")
    pdf = season_report_pdf(bare)
    text = text_of(pdf)
    assert "No fault is recorded for this season." in text
    assert "No visit is recorded for this season." in text
    assert "No default is recorded" in text
    assert_laid_out_well(pdf)


def test_a_first_season_has_no_column_for_last_year():
    months = tuple(dataclasses.replace(month, last_year=None) for month in samples.season_report().water_months)
    zones = tuple(dataclasses.replace(zone, last_year=None) for zone in samples.season_report().zones)
    pdf = season_report_pdf(samples.season_report(water_months=months, zones=zones, water_total=None))
    assert "Last year" not in text_of(pdf)
    assert_laid_out_well(pdf)


def test_months_to_come_print_a_dash_and_a_dry_season_does_not_divide_by_zero():
    months = (WaterMonth("May", Amount(0.0, "0"), Amount(0.0, "0")), WaterMonth("June", None, Amount(0.0, "0")))
    text = text_of(season_report_pdf(samples.season_report(water_months=months, zones=())))
    assert "May 0 0" in text
    assert "June – 0" in text


def test_an_empty_day_and_an_empty_controller_say_so():
    day = run_sheet_pdf(RunSheet(samples.FIRM, "", "Ines Halloran", "14 April 2026"))
    assert "No stop is planned for this day." in text_of(day)
    assert "No program is set" in text_of(controller_card_pdf(samples.controller_card(programs=())))
    idle = Program("Controller A", "Program 3", "Mon", "05:00", ())
    assert "No zone runs in this program." in text_of(controller_card_pdf(samples.controller_card(programs=(idle,))))


def test_long_names_and_long_notes_stay_inside_the_page():
    site = Place(LONG, (LONG, LONG), "Ring twice. " * 900, LONG, LONG, LONG)
    sheet = samples.blank_sheet(site=site, client=Contact(LONG, LONG, LONG, (LONG,)), technician=LONG, reference=LONG)
    pdf = service_sheet_pdf(dataclasses.replace(sheet, firm=dataclasses.replace(samples.FIRM, name=LONG, phone=LONG)))
    assert_laid_out_well(pdf)
    assert text_of(pdf).count("Ring twice.") == 900
    done = samples.completed_sheet(site=site, client=Contact(LONG))
    assert_laid_out_well(service_sheet_pdf(done))
    headlines = tuple(Headline(LONG, LONG, LONG) for _ in range(4))
    dates = (NextDate(LONG, LONG),)
    report = samples.season_report(site_name=LONG, summary=LONG * 40, headlines=headlines, next_dates=dates)
    assert_laid_out_well(season_report_pdf(report))
    stop = dataclasses.replace(samples.run_sheet().stops[0], site_name=LONG, access_notes=LONG * 30, work=(LONG,) * 9)
    assert_laid_out_well(run_sheet_pdf(samples.run_sheet(stops=(stop, stop))))


def test_pages_are_numbered_x_of_y_for_each_document_of_a_file():
    pdf = service_sheets_pdf([samples.blank_sheet(zone_count=1), samples.blank_sheet(zone_count=60)])
    short, long = (pages_of(service_sheet_pdf(samples.blank_sheet(zone_count=count))) for count in (1, 60))
    texts = [page.extract_text() for page in PdfReader(BytesIO(pdf)).pages]
    expected = [f"Page {n} of {short}" for n in range(1, short + 1)]
    expected += [f"Page {n} of {long}" for n in range(1, long + 1)]
    assert len(texts) == len(expected)
    assert [words in text for words, text in zip(expected, texts, strict=True)] == [True] * len(texts)


def test_a_broken_table_repeats_its_header():
    pages = PdfReader(BytesIO(service_sheet_pdf(samples.completed_sheet(zone_count=60)))).pages
    for page in pages:
        text = page.extract_text()
        if "Spray heads" in text:
            assert "Coil, ohm" in text


def test_a_season_report_is_two_to_four_pages():
    for count in (1, 9, 24, 60):
        assert 2 <= pages_of(season_report_pdf(samples.season_report(count))) <= 4


@pytest.mark.parametrize("name", NAMES)
def test_the_same_data_gives_the_same_bytes(name):
    first = every_document()[name]
    every_document.cache_clear()
    assert every_document()[name] == first


def test_metadata_names_title_author_and_language():
    reader = PdfReader(BytesIO(service_sheet_pdf(samples.blank_sheet(firm=samples.LETTER_FIRM))))
    assert reader.metadata is not None
    assert reader.metadata.title == "Service sheet, Spring startup, Quarry Hill Court"
    assert reader.metadata.author == "Alder & Brook Irrigation"
    assert reader.trailer["/Root"]["/Lang"] == "en-US"
    assert [float(edge) for edge in reader.pages[0].mediabox[2:]] == [612.0, 792.0]
    assert "Zones and valves" in [entry.title for entry in reader.outline]


def test_both_typefaces_are_embedded():
    pdf = service_sheet_pdf(samples.blank_sheet())
    fonts = PdfReader(BytesIO(pdf)).pages[0]["/Resources"]["/Font"]
    used = [font.get_object() for font in fonts.values()]
    embedded = [font for font in used if "/FontFile2" in font.get("/FontDescriptor", {})]
    assert len(embedded) >= 2


def test_a_sheet_without_photos_is_smaller_than_sixty_kilobytes():
    for kind in VisitKind:
        assert len(service_sheet_pdf(samples.blank_sheet(kind, 24))) <= 60_000


def test_photos_are_embedded_as_they_came():
    jpeg = samples.photo_jpeg()
    images = [
        image.get_object()
        for page in PdfReader(BytesIO(service_sheet_pdf(samples.completed_sheet()))).pages
        for image in page["/Resources"].get("/XObject", {}).values()
    ]
    assert jpeg in [image._data for image in images]


@pytest.mark.parametrize(
    "jpeg", [b"", b"\xff\xd8", b"GIF89a", samples.photo_jpeg()[:30], b"<svg/>" * 50, b"\xff" * 400], ids=repr
)
def test_a_photo_that_is_no_jpeg_is_said_so_and_the_sheet_still_comes_out(jpeg):
    sheet = samples.completed_sheet()
    assert sheet.outcome is not None
    fault = dataclasses.replace(sheet.outcome.faults[0], photos=(Photo(jpeg, "A caption"),))
    outcome = dataclasses.replace(sheet.outcome, faults=(fault,))
    text = text_of(service_sheet_pdf(dataclasses.replace(sheet, outcome=outcome)))
    assert "Photo could not be read" in text
    assert "A caption" in text


def test_no_document_is_an_error_not_an_empty_file():
    for make in (service_sheets_pdf, season_reports_pdf):
        with pytest.raises(ValueError, match="no document"):
            make([])


def test_a_document_without_blocks_still_has_its_page():
    assert pages_of(pdf_bytes([Document(samples.FIRM, "Nothing", "", ())])) == 1


PROBE = """
import sys
seen = []
def hook(event, args):
    if event.startswith("socket.") or event in ("open", "subprocess.Popen", "os.system", "urllib.Request"):
        seen.append((event, str(args[0])))
from tests.reports.documents import sample_documents as samples
from reports.documents.season_report import season_report_pdf
from reports.documents.service_sheet import Place, service_sheet_pdf
service_sheet_pdf(samples.completed_sheet())
nasty = '<img src="http://127.0.0.1:9/x.png"/><img src="/etc/hostname"/><a href="javascript:x">'
site = Place(nasty, (nasty,), nasty)
sheet, report = samples.blank_sheet(site=site), samples.season_report(site_name=nasty, summary=nasty)
sys.addaudithook(hook)
service_sheet_pdf(sheet)
season_report_pdf(report)
print(seen)
"""


def test_building_opens_no_socket_and_no_file():
    root = Path(__file__).resolve().parents[3]
    probe = subprocess.run([sys.executable, "-c", PROBE], cwd=root, capture_output=True, text=True, timeout=120)
    assert probe.stderr == ""
    assert probe.stdout.strip() == "[]"


def test_two_processes_make_the_same_bytes():
    root = Path(__file__).resolve().parents[3]
    code = (
        "import hashlib, sys\n"
        "from tests.reports.documents import sample_documents as s\n"
        "from reports.documents.service_sheet import service_sheet_pdf\n"
        "sys.stdout.write(hashlib.sha256(service_sheet_pdf(s.completed_sheet())).hexdigest())\n"
    )
    runs = [
        subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, timeout=120).stdout
        for _ in range(2)
    ]
    assert runs[0] == runs[1]
    assert len(runs[0]) == 64


def test_the_layout_checks_see_what_is_wrong():
    """Guards the guards: text over text, and text that runs off the page, are found."""
    over = Document(samples.FIRM, "T", "", (paragraph("One line of text"), Gap(-17.4), paragraph("Another line")))
    assert len(overlapping(pdf_bytes([over]))) == 1
    sunk = Document(samples.FIRM, "T", "", (Together((Gap(688.0), paragraph("Sunk"), Gap(-60.0))),))
    assert [box.text for box in into_the_foot(pdf_bytes([sunk]))] == ["Sunk"]
    gone = Document(samples.FIRM, "T", "", (Together((Gap(735.0), paragraph("Gone"), Gap(-90.0))),))
    assert [box.text for box in outside(pdf_bytes([gone]))] == ["Gone"]
