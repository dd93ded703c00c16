"""Service sheets of the three seasonal visits, to take along and as the record of the work."""

from reports.documents.service_sheet.data import (
    BackflowAssembly,
    ChecklistItem,
    Contact,
    ControllerFacts,
    FaultFound,
    OpenFault,
    Outcome,
    PartUsed,
    Photo,
    Place,
    Pump,
    Reading,
    ServiceSheet,
    Supply,
    Units,
    VisitKind,
    ZoneRow,
)
from reports.documents.service_sheet.sheet import service_sheet_pdf, service_sheets_pdf

__all__ = [
    "BackflowAssembly",
    "ChecklistItem",
    "Contact",
    "ControllerFacts",
    "FaultFound",
    "OpenFault",
    "Outcome",
    "PartUsed",
    "Photo",
    "Place",
    "Pump",
    "Reading",
    "ServiceSheet",
    "Supply",
    "Units",
    "VisitKind",
    "ZoneRow",
    "service_sheet_pdf",
    "service_sheets_pdf",
]
