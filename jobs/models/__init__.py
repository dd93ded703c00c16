"""Service work: plans and windows, visits and day routes, checklists, measurements, faults."""

from jobs.models.checklists import ChecklistAnswer, ChecklistItem, ChecklistTemplate
from jobs.models.feeds import CalendarFeed
from jobs.models.field import Fault, ValveMeasurement
from jobs.models.inbox import FieldDevice, InboxRecord, PhotoPiece, PhotoUpload
from jobs.models.plans import PlanRun
from jobs.models.travel import TravelLeg
from jobs.models.upsets import Replan
from jobs.models.visits import (
    Absence,
    DayRoute,
    SeasonWindow,
    ServicePlan,
    TechnicianProfile,
    Visit,
    VisitKind,
)

__all__ = [
    "Absence",
    "CalendarFeed",
    "ChecklistAnswer",
    "ChecklistItem",
    "ChecklistTemplate",
    "DayRoute",
    "Fault",
    "FieldDevice",
    "InboxRecord",
    "PhotoPiece",
    "PhotoUpload",
    "PlanRun",
    "Replan",
    "SeasonWindow",
    "ServicePlan",
    "TechnicianProfile",
    "TravelLeg",
    "ValveMeasurement",
    "Visit",
    "VisitKind",
]
