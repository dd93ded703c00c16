"""Service work: plans and windows, visits, day routes, checklists, measurements, faults, proposals, work records."""

from jobs.models.checklists import ChecklistAnswer, ChecklistItem, ChecklistTemplate
from jobs.models.feeds import CalendarFeed
from jobs.models.field import Fault, ValveMeasurement
from jobs.models.inbox import FieldDevice, InboxRecord, PhotoPiece, PhotoUpload
from jobs.models.plans import PlanRun
from jobs.models.proposals import PriceItem, Proposal, ProposalLine, SaleUnit
from jobs.models.team import Absence, ClosedDays, Skill, TechnicianProfile
from jobs.models.told import ClientTold
from jobs.models.travel import TravelLeg
from jobs.models.upsets import Replan
from jobs.models.visits import (
    DayRoute,
    SeasonWindow,
    ServicePlan,
    Visit,
    VisitKind,
    VisitTerms,
)
from jobs.models.work import WorkPart, WorkRecord

__all__ = [
    "Absence",
    "CalendarFeed",
    "ChecklistAnswer",
    "ChecklistItem",
    "ChecklistTemplate",
    "ClientTold",
    "ClosedDays",
    "DayRoute",
    "Fault",
    "FieldDevice",
    "InboxRecord",
    "PhotoPiece",
    "PhotoUpload",
    "PlanRun",
    "PriceItem",
    "Proposal",
    "ProposalLine",
    "Replan",
    "SaleUnit",
    "SeasonWindow",
    "ServicePlan",
    "Skill",
    "TechnicianProfile",
    "TravelLeg",
    "ValveMeasurement",
    "Visit",
    "VisitKind",
    "VisitTerms",
    "WorkPart",
    "WorkRecord",
]
