"""Service sheets of the three seasonal visits, to take along and as the record of the work."""

from reports.documents.service_sheet.data import (
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
from reports.documents.service_sheet.sheet import service_sheet_pdf, service_sheets_pdf

__all__ = [
    "ChecklistItem",
    "Contact",
    "FaultFound",
    "OpenFault",
    "Outcome",
    "Photo",
    "Place",
    "Reading",
    "ServiceSheet",
    "VisitKind",
    "ZoneRow",
    "service_sheet_pdf",
    "service_sheets_pdf",
]
