"""What happened: schools, people, and the entries of each student's training record.

Every row belongs to a school. Rows become the engine's record, and back, in ``training.record`` alone.
"""

from training.models.access import AccessLog
from training.models.aircraft import Aircraft, AircraftCheck
from training.models.aircraft_models import ModelSpelling
from training.models.catalogue import EndorsementSeal, EndorsementWording, Revocation
from training.models.changes import RecordChange
from training.models.deliveries import Delivery, DeliveryItem
from training.models.documents import Certificate, Document, Test
from training.models.endorsements import Endorsement
from training.models.enrolments import Assignment, CourseMove, Enrolment
from training.models.entries import Entry
from training.models.findings import AuditRun, Finding, NightlyAudit, Resolution
from training.models.flights import Flight, Landing
from training.models.handovers import ForeignEntry, HandOver
from training.models.holds import RetentionHold
from training.models.lesson_records import Acknowledgement, Correction, LessonRecord, Notice, SignOff
from training.models.lessons import GroundLesson, ItemGrade
from training.models.people import Role, User
from training.models.people_changes import PeopleChange
from training.models.publications import CoursePublication
from training.models.recipients import CalendarFeed, Guardian, ReminderPreferences
from training.models.reminders import LeadTimes, Reminder, ReminderOf
from training.models.school_changes import SchoolChange
from training.models.schools import School
from training.models.standings import Lapse, PreparedPage, Stale, Standing, StandingChange
from training.models.students import Student
from training.models.ticks import Tick

#: The tables of a record's entries; landings belong to their flight.
ENTRIES = (Certificate, Document, Endorsement, Flight, GroundLesson, ItemGrade, Test)

__all__ = [
    "ENTRIES",
    "AccessLog",
    "Acknowledgement",
    "Aircraft",
    "AircraftCheck",
    "Assignment",
    "AuditRun",
    "CalendarFeed",
    "Certificate",
    "Correction",
    "CourseMove",
    "CoursePublication",
    "Delivery",
    "DeliveryItem",
    "Document",
    "Endorsement",
    "EndorsementSeal",
    "EndorsementWording",
    "Enrolment",
    "Entry",
    "Finding",
    "Flight",
    "ForeignEntry",
    "GroundLesson",
    "Guardian",
    "HandOver",
    "ItemGrade",
    "Landing",
    "Lapse",
    "LeadTimes",
    "LessonRecord",
    "ModelSpelling",
    "NightlyAudit",
    "Notice",
    "PeopleChange",
    "PreparedPage",
    "RecordChange",
    "Reminder",
    "ReminderOf",
    "ReminderPreferences",
    "Resolution",
    "RetentionHold",
    "Revocation",
    "Role",
    "School",
    "SchoolChange",
    "SignOff",
    "Stale",
    "Standing",
    "StandingChange",
    "Student",
    "Test",
    "Tick",
    "User",
]
