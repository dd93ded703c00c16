"""Whatever a user types, the document comes out, in the frame, and prints the text literally."""

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.documents.controller_card import controller_card_pdf
from reports.documents.kit.text import MISSING, plain
from reports.documents.one_off_run import one_off_run_pdf
from reports.documents.proposal import proposal_pdf
from reports.documents.run_sheet import run_sheet_pdf
from reports.documents.season_report import season_report_pdf
from reports.documents.service_sheet import Contact, OpenFault, Place, service_sheet_pdf
from tests.reports.documents import sample_documents as samples
from tests.reports.documents.page_boxes import outside, overlapping, squeezed, text_of

PAYLOADS = [
    "<b>bold",
    "</para><para>",
    '<img src="/etc/passwd"/>',
    '<img src="http://127.0.0.1:9/x.png" width="1" height="1"/>',
    '<a href="javascript:alert(1)">click</a>',
    '<font size="1000000">x</font>',
    "<!DOCTYPE x [<!ENTITY e SYSTEM 'file:///etc/passwd'>]>&e;",
    "&amp; &lt; &#0; &unknown;",
    "<onDraw name='x' label='y'/>",
    "{{ 7*7 }} ${7*7} %s %(x)s {0}",
    ") Tj (injected) Tj (",
    "(((((\\)\\(\\\\",
    "endstream endobj",
    "=HYPERLINK(1)",
    "x" * 3000,
    "\u202egnp.exe\u202c",
    "a\x00b\x08c\x1bd",
    "line\r\nline\u2028line",
]
# Characters the typeface has, so that the extracted text must equal what was typed.
PRINTABLE = st.text(st.sampled_from("abcXYZ019<>&\"'()\\/%{}[]#;:=+-–ÄéñŁЖΩ½°³€ \n"), max_size=160)
ANYTHING = st.text(max_size=160)


def hostile_controller(text: str):
    return dataclasses.replace(samples.PLANT.controllers[0], name=text, location=text)


def sheet_of(text: str):
    return samples.blank_sheet(
        zone_count=1,
        plant=dataclasses.replace(samples.PLANT, controllers=(hostile_controller(text),)),
        meters=text,
        site=Place(text, (text,), text),
        client=Contact(text, text),
        technician=text,
        reference=text,
        findings=(text,),
        open_faults=(OpenFault(text, text, text),),
        firm=dataclasses.replace(samples.FIRM, name=text, licence=text),
    )


def report_of(text: str):
    return samples.season_report(1, site_name=text, client_name=text, summary=text, weather_text=text, season=text)


def proposal_of(text: str):
    line = dataclasses.replace(samples.proposal().lines[0], what=text, repairs=text)
    fault = dataclasses.replace(samples.proposal().faults[0], words=text)
    return samples.proposal(1, client_name=text, site_name=text, note=text, lines=(line,), faults=(fault,))


@pytest.mark.parametrize("payload", PAYLOADS, ids=lambda text: repr(text[:24]))
def test_payloads_are_printed_literally_in_every_document(payload):
    printed = squeezed(plain(payload))
    stop = dataclasses.replace(samples.run_sheet().stops[0], site_name=payload, access_notes=payload, work=(payload,))
    for pdf in (
        service_sheet_pdf(sheet_of(payload)),
        season_report_pdf(report_of(payload)),
        one_off_run_pdf(samples.one_off_run(what=payload, know=(payload,), verdict=payload)),
        proposal_pdf(proposal_of(payload)),
        run_sheet_pdf(samples.run_sheet(stops=(stop,), notes=payload)),
        controller_card_pdf(samples.controller_card(controller=hostile_controller(payload))),
    ):
        # A word longer than a page is cut by head and foot, so only its first part is looked for.
        assert printed[:600] in squeezed(text_of(pdf))
        assert outside(pdf) == []
        assert overlapping(pdf) == []


@given(PRINTABLE)
def test_printable_text_comes_back_as_it_was_typed(text):
    found = squeezed(text_of(service_sheet_pdf(sheet_of(text))))
    assert squeezed(plain(text)) in found
    assert squeezed(text_of(season_report_pdf(report_of(text)))).count(squeezed(plain(text))) >= 1


@given(ANYTHING)
def test_any_text_at_all_gives_a_document_inside_its_frame(text):
    for pdf in (service_sheet_pdf(sheet_of(text)), season_report_pdf(report_of(text))):
        assert outside(pdf) == []
        assert overlapping(pdf) == []
        assert "\x00" not in text_of(pdf)


def test_the_foot_says_so_when_a_character_could_not_be_printed():
    note = f"{MISSING} stands for a character that this typeface cannot print."
    assert note in text_of(service_sheet_pdf(sheet_of("Sakura 桜 garden")))
    assert note not in text_of(service_sheet_pdf(samples.blank_sheet()))
