"""One noun a file; this page only hands the names on."""

from schedules.models.answer import Answer
from schedules.models.calendar_event import CalendarEvent
from schedules.models.date_before import DateBefore
from schedules.models.day_result import DayResult
from schedules.models.defect import Defect
from schedules.models.feed import Feed
from schedules.models.field_entry import FieldEntry
from schedules.models.fleet_prior import FleetPrior
from schedules.models.foretold import Foretold
from schedules.models.kept_date import KeptDate
from schedules.models.mail_server import MailServer, RestedAddress
from schedules.models.means import Absence, Depot, HomeHours
from schedules.models.night import Night, NightPart
from schedules.models.notice import Notice, NoticeSlot
from schedules.models.offered_time import OfferedTime
from schedules.models.photograph import Photograph
from schedules.models.plan import Plan
from schedules.models.policy import Policy
from schedules.models.reply import Reply
from schedules.models.round_plan import RoundPlan
from schedules.models.rung import Rung
from schedules.models.season_plan import SeasonPlan, SeasonTrip
from schedules.models.supply import Purchase, SentFilter
from schedules.models.tag import Tag
from schedules.models.task import MaintenanceTask, TaskDone
from schedules.models.technician import Technician
from schedules.models.van_tick import VanTick
from schedules.models.visit import Visit, VisitJob
from schedules.models.wish import Wish

__all__ = [
    "Absence", "Answer", "CalendarEvent", "DateBefore", "DayResult", "Defect", "Depot", "Feed",
    "FieldEntry",
    "FleetPrior", "Foretold", "HomeHours", "KeptDate", "MailServer", "MaintenanceTask", "Night",
    "NightPart", "Notice", "NoticeSlot", "OfferedTime", "Photograph", "Plan", "Policy", "Purchase",
    "Reply", "RestedAddress", "RoundPlan", "Rung", "SeasonPlan", "SeasonTrip", "SentFilter", "Tag",
    "TaskDone", "Technician", "VanTick", "Visit", "VisitJob", "Wish",
]  # fmt: skip
