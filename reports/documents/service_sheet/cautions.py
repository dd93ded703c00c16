"""Headings over the cautions of a sheet; the cautions themselves are those of the field pages."""

from jobs.core.cautions import CAUTIONS
from reports.documents.service_sheet.data import VisitKind

HEADINGS = {
    VisitKind.STARTUP: "Cautions: slow fill, electricity, pits",
    VisitKind.MID_SEASON: "Cautions: electricity, pits, moving water",
    VisitKind.WINTERISATION: "Cautions: compressed air can maim",
    VisitKind.REPAIR: "Cautions: pressure, buried lines, electricity, pits",
}
POINTS: dict[VisitKind, tuple[str, ...]] = {kind: CAUTIONS[kind.value] for kind in VisitKind}
