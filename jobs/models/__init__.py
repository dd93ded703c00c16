"""Service work: plans and windows, visits and day routes, checklists, measurements, faults."""

from jobs.models.checklists import ChecklistAnswer, ChecklistItem, ChecklistTemplate
from jobs.models.field import Fault, ValveMeasurement
from jobs.models.plans import PlanRun
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
    "ChecklistAnswer",
    "ChecklistItem",
    "ChecklistTemplate",
    "DayRoute",
    "Fault",
    "PlanRun",
    "SeasonWindow",
    "ServicePlan",
    "TechnicianProfile",
    "ValveMeasurement",
    "Visit",
    "VisitKind",
]
