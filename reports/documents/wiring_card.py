"""Wiring card: the terminal map and the water path of one controller, to hang inside its door beside the schedule."""

from dataclasses import dataclass

from reports.documents.kit import look
from reports.documents.kit.blocks import Block, Text, Title, caution
from reports.documents.kit.drawing import DrawingBlock
from reports.documents.kit.page import Document, Firm, pdf_bytes
from reports.documents.plant import who_to_call
from sites.core.cautions import CABINET, CARE, WET_CLASS_2, Act
from sites.core.plant import Controller, SitePlant
from sites.core.plant_drawing import Told
from sites.core.terminal_map import map_rows, terminal_map
from sites.core.water_path import water_path

FIRST_PAGE, ROWS_A_PAGE = 8, 12  # lines of the terminal map that stay readable on a page
WIDTH, PATH_WIDTH = 520.0, 780.0


@dataclass(frozen=True)
class WiringCard:
    """`made_on` is the day the register was read, finished words."""

    firm: Firm
    reference: str
    plant: SitePlant
    controller: Controller
    told: Told
    made_on: str


def wiring_card_pdf(card: WiringCard) -> bytes:
    """The card as PDF bytes: the same drawings as on the page."""
    plant, controller, told = card.plant, card.controller, card.told
    about = " · ".join(
        part for part in (plant.name, controller.location, f"register of {card.made_on}") if part.strip()
    )
    blocks: list[Block] = [
        Title("Wiring card", controller.name, about),
        caution(
            "Before you touch a wire",
            [
                CABINET,
                "The drawing shows the register, not the site: prove each wire with a meter before you rely on it.",
                "Switch off and isolate the pump first; a pump must not work against closed valves.",
                CARE[Act.BOX],
                WET_CLASS_2,
            ],
        ),
    ]
    count = map_rows(plant, controller)
    starts = [0, *range(FIRST_PAGE, count, ROWS_A_PAGE)]
    for start, end in zip(starts, [*starts[1:], count], strict=True):
        blocks.append(DrawingBlock(terminal_map(plant, controller, told, WIDTH, (start, end)), most_height=660.0))
    blocks.append(DrawingBlock(water_path(plant, controller, told, PATH_WIDTH), most_height=660.0))
    call = who_to_call(card.firm, plant, controller)
    blocks.append(Text((("Who to call", look.STRONG), *((line, look.BODY) for line in call))))
    title = f"Wiring card, {controller}, {plant.name}"
    return pdf_bytes([Document(card.firm, title, card.reference, tuple(blocks))])
