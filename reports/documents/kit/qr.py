"""QR code to a live page, drawn as plain boxes so that it stays sharp and needs no picture."""

from dataclasses import dataclass, field
from functools import lru_cache

import segno

from reports.documents.kit import look
from reports.documents.kit.blocks import Block, Text
from reports.documents.kit.pen import Pen
from reports.documents.kit.text import one_line

_SIDE = 52.0
_QUIET_MODULES = 4  # ISO/IEC 18004 asks for four modules of white round the code


@lru_cache(maxsize=64)
def _rows(address: str) -> tuple[tuple[bool, ...], ...]:
    """The modules of the code for `address`, row by row from the top."""
    return tuple(tuple(bool(module) for module in row) for row in segno.make_qr(address, error="m").matrix)


@dataclass(frozen=True, eq=False)
class WithQr(Block):
    """A block with a QR code and its caption at the right."""

    block: Block
    address: str
    caption: str
    after: float = 10.0
    keep_with_next: bool = field(default=False)

    def _inner(self, width: float) -> float:
        return width - _SIDE - 24.0

    def height(self, width: float) -> float:
        return max(self.block.height(self._inner(width)), _SIDE + 11.0)

    def split(self, width: float, room: float, *, force: bool = False) -> tuple[Block, Block] | None:
        return self.block.split(self._inner(width), room, force=force)

    def draw(self, pen: Pen, x: float, top: float, width: float) -> None:
        self.block.draw(pen, x, top, self._inner(width))
        rows = _rows(self.address)
        module = _SIDE / (len(rows) + 2 * _QUIET_MODULES)
        inset = _QUIET_MODULES * module
        left = x + width - _SIDE
        pen.modules(left + inset, top - inset, module, rows)
        caption = one_line(self.caption, look.LABEL, _SIDE + 20.0)
        Text(((caption, look.LABEL),), "right").draw(pen, left - 20.0, top - _SIDE, _SIDE + 20.0)


def with_qr(block: Block, address: str, caption: str) -> Block:
    """`block` with a code that leads to `address`; without an address the block alone."""
    return WithQr(block, address, caption) if address.strip() else block
