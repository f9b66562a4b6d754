"""Schools, people, and the entries of each student's training record.

Every row belongs to a school. Only ``training.record`` converts rows to the engine's record and back.
"""

from training.models.record.catalogue import EndorsementSeal, EndorsementWording, Revocation
from training.models.record.changes import RecordChange
from training.models.record.documents import Certificate, Document, Test
from training.models.record.endorsements import Endorsement
from training.models.record.entries import Entry
from training.models.record.flights import Flight, Landing
from training.models.record.handovers import ForeignEntry, HandOver
from training.models.record.holds import RetentionHold
from training.models.record.lesson_records import Acknowledgement, Correction, LessonRecord, Notice, SignOff
from training.models.record.lessons import GroundLesson, ItemGrade
from training.models.record.nonces import SpentNonce
from training.models.record.releases import ReleaseDecision, ReleaseEnd, SoloRelease
from training.models.school.access import AccessLog
from training.models.school.aircraft import Aircraft, AircraftCheck, Grounding
from training.models.school.aircraft_models import ModelSpelling
from training.models.school.enrolments import Assignment, CourseMove, Enrolment
from training.models.school.invitations import Invitation
from training.models.school.people import Role, User
from training.models.school.people_changes import PeopleChange
from training.models.school.publications import CoursePublication
from training.models.school.requests import StudentRequest
from training.models.school.school_changes import SchoolChange
from training.models.school.schools import School
from training.models.school.sign_ins import SignInEvent
from training.models.school.students import Student
from training.models.watching.deliveries import Delivery, DeliveryItem
from training.models.watching.findings import AuditRun, Finding, NightlyAudit, Resolution
from training.models.watching.heartbeats import Heartbeat
from training.models.watching.recipients import CalendarFeed, Guardian, ReminderPreferences
from training.models.watching.reminders import LeadTimes, Reminder, ReminderOf
from training.models.watching.standings import Lapse, Stale, Standing, StandingChange

#: The tables of a record's entries; landings belong to their flight.
ENTRIES = (Certificate, Document, Endorsement, Flight, GroundLesson, ItemGrade, Test)
