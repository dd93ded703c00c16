"""How a report tells a figure, a date or a thing's name: in the firm's units and the client's language."""

import datetime as dt
from dataclasses import dataclass

from jobs.models import Fault
from reports.documents.kit.charts import Amount
from reports.documents.words import Language, language
from reports.queries.letterhead import amount
from sites.core import writing
from sites.core.units import to_display, unit_label
from sites.models import BackflowAssembly, Firm

LITRES_PER_M3 = 1000.0


@dataclass(frozen=True)
class Telling:
    """The firm whose units count, and the language."""

    firm: Firm
    words: Language

    @classmethod
    def of(cls, firm: Firm, code: str) -> "Telling":
        return cls(firm, language(writing.locale_in(code, firm.locale)))

    def volume(self, litres: float | None) -> Amount | None:
        """Litres as a charted figure in the firm's unit of volume."""
        if litres is None:
            return None
        shown = max(to_display(litres / LITRES_PER_M3, "volume", self.firm.units), 0.0)
        return Amount(shown, writing.number(shown, 0 if shown >= 10 or shown == 0 else 1))

    def volume_text(self, litres: float) -> str:
        volume = self.volume(litres)
        return f"{volume.text if volume else '0'} {unit_label('volume', self.firm.units)}"

    def depth(self, depth_mm: float | None) -> Amount | None:
        if depth_mm is None:
            return None
        shown = max(to_display(depth_mm, "depth", self.firm.units), 0.0)
        return Amount(shown, amount(depth_mm, "depth", self.firm, with_unit=False))

    def money(self, value: float) -> str:
        return writing.money(value, self.firm.currency)

    def date(self, date: dt.date | None) -> str:
        return self.words.date(date)

    def visit(self, kind: str) -> str:
        return _capital(self.words.say(f"visit.{kind}"))

    def fault(self, fault: Fault) -> str:
        return _capital(self.words.say(f"fault.{fault.kind}"))

    def severity(self, fault: Fault) -> str:
        return _capital(self.words.say(f"severity.{fault.severity}"))

    def place(self, fault: Fault) -> str:
        """Where a fault is, by the narrowest thing it was found at."""
        for thing, key in ((fault.zone, "zone"), (fault.valve, "valve")):
            if thing is not None:
                name = str(thing)
                known = name.lower().startswith(key)
                return name if known else self.words.say(f"place.{key}", name=name)
        return str(fault.controller or fault.supply or self.words.say("place.site"))

    def assembly(self, row: BackflowAssembly) -> str:
        return f"{self.words.say(f'backflow.{row.kind}')} {row.serial_number}".strip()


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
