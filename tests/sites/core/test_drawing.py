import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from io import BytesIO

import pypdfium2
import pytest

from reports.documents.kit.drawing import DrawingBlock
from reports.documents.kit.page import Document, Firm, pdf_bytes
from sites.core.drawing import TONES, Drawing, Line, Words, box, fitted, svg
from sites.core.plant import Controller, SitePlant, Supply, Valve, Zone
from sites.core.plant_drawing import Told
from sites.core.terminal_map import map_rows, terminal_map
from sites.core.water_path import water_path

SVG = "{http://www.w3.org/2000/svg}"


CONTROLLER = Controller(1, "Controller A", terminals=40, transformer_va=40)
TOLD = Told(measured=dict.fromkeys(range(1, 41), "33.1 Ω"), electrical=dict.fromkeys(range(1, 41), "33.1 Ω"))


def plant(count: int = 2, **changed) -> SitePlant:
    return SitePlant(
        **{
            "name": "Quarry Hill",
            "supplies": (Supply(1, "Mains"),),
            "controllers": (replace(CONTROLLER, terminals=max(count, 4)),),
            "valves": tuple(Valve(n, f"Valve {n}", 1, n, wire_length_m=40) for n in range(1, count + 1)),
            "zones": tuple(Zone(n, n, f"Bed {n}", n, flow_l_min=12) for n in range(1, count + 1)),
            **changed,
        }
    )


def path_of(plant: SitePlant, width: float = 900.0, told: Told = TOLD) -> Drawing:
    return water_path(plant, plant.controllers[0], told, width)


def map_of(plant: SitePlant, width: float = 900.0, told: Told = TOLD, rows=None) -> Drawing:
    return terminal_map(plant, plant.controllers[0], told, width, rows)


def words_of(drawing: Drawing) -> list[str]:
    return [mark.text for mark in drawing.marks if isinstance(mark, Words)]


def test_a_drawing_becomes_svg_of_attributes_only_and_no_text_can_break_out_of_it():
    drawing = Drawing(100, 50, 'a <b> & "c"')
    drawing.add(box(1, 2, 3, 4), Line(((0, 0), (9, 9)), dashed=True), Words(5, 5, '<script>alert("x")</script>\x07'))
    root = ElementTree.fromstring(svg(drawing))
    assert [child.tag for child in root] == [
        f"{SVG}{name}" for name in ("title", "rect", "polygon", "polyline", "text")
    ]
    assert root[0].text == 'a <b> & "c"'
    assert root[4].text == '<script>alert("x")</script>'
    assert not any("style" in child.attrib or "href" in child.attrib for child in root.iter())


def test_every_ink_can_be_told_from_the_paper_in_grey_where_text_is_set_in_it():
    def grey(tone):
        red, green, blue = (value / 255 for value in TONES[tone])
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    for tone in ("ink", "soft", "water", "alert"):
        assert grey(tone) < 0.45


def test_text_is_cut_with_an_ellipsis_to_its_room():
    assert fitted("Main pitch", 10, 1000) == "Main pitch"
    cut = fitted("Main pitch north of the old grandstand", 10, 80)
    assert cut.endswith("…")
    assert len(cut) * 10 * 0.5 <= 80


@pytest.mark.parametrize("width", [360.0, 900.0])
@pytest.mark.parametrize("zones", [0, 1, 2, 24, 36])
def test_both_drawings_name_every_valve_and_stay_inside_their_sheet(width, zones):
    for draw in (path_of, map_of):
        drawing = draw(plant(zones), width)
        text = " ".join(words_of(drawing))
        for n in range(1, zones + 1):
            assert f"Valve {n}" in text
        for mark in drawing.marks:
            for x, y in getattr(mark, "points", [(mark.x, mark.y)] if hasattr(mark, "x") else []):
                assert 0 <= x <= width, mark
                assert 0 <= y <= drawing.height, mark


def test_what_is_missing_is_drawn_as_missing():
    gaps = plant(
        valves=(Valve(2, "Valve 2", 1, 3), Valve(1, "Valve 1", 1)),
        zones=(Zone(2, 2, "Bed", 2), Zone(9, 9, "Island")),
    )
    path, wires = words_of(path_of(gaps, told=Told())), words_of(map_of(gaps, told=Told()))
    assert "backflow assembly: not recorded" in path
    assert "no zone in the register" in path
    assert "Zone 9 Island: no valve in the register" in path
    assert any("flow ?" in text for text in path)
    assert any("length ?, section ?; coil not measured yet" in text for text in wires)
    assert wires.count("?") >= 1
    assert wires.count("free") == 3  # terminals 1, 2 and 4


def test_faults_and_a_shared_terminal_are_told_in_words_beside_their_valve():
    shared = plant(valves=(Valve(1, "Valve 1", 1, 1), Valve(2, "Valve 2", 1, 1)))
    told = Told(
        faults={("valve", 1): ("valve weeps",), ("zone", 2): ("head broken",), ("backflow", 0): ("it drips",)}
    )
    path, wires = words_of(path_of(shared, told=told)), words_of(map_of(shared, told=told))
    for fault in ("valve weeps", "head broken"):
        assert fault in path
        assert fault in wires
    assert "it drips" in path
    assert wires.count("shares its terminal with another valve") == 2


def test_a_long_map_in_parts_shows_each_line_once_and_the_legend_last():
    long = plant(24)
    count = map_rows(long, long.controllers[0])
    parts = [map_of(long, 520, rows=(start, min(count, start + 10))) for start in range(0, count, 10)]
    told = [text for part in parts for text in words_of(part)]
    for n in range(1, 25):
        assert sum(text.startswith(f"Valve {n} ·") for text in told) == 1
    assert ["coil" in words_of(part) for part in parts] == [False] * (len(parts) - 1) + [True]


def test_page_and_paper_show_the_same_words():
    drawing = path_of(plant(3))
    pdf = pdf_bytes([Document(Firm("Test"), "Drawing", "", (DrawingBlock(drawing),))])
    document = pypdfium2.PdfDocument(BytesIO(pdf))
    page = document[0]
    printed = page.get_textpage().get_text_bounded()
    for text in words_of(drawing):
        assert text in printed
    document.close()
