"""The routes below /api/v1/."""

from django.urls import path

from api.v1.everyone.auth import Login, Logout
from api.v1.everyone.eligibility import Eligibility
from api.v1.everyone.milestones import MilestoneDetail, Milestones
from api.v1.everyone.notices import NoticeRead, Notices
from api.v1.everyone.reminders import (
    CalendarAddress,
    Coming,
    LeadTimes,
    Preferences,
    ReminderRead,
    Reminders,
    ReminderSnooze,
)
from api.v1.everyone.search import Search
from api.v1.everyone.status_changes import StatusChanges
from api.v1.school.aircraft import Aircraft, AircraftChecks
from api.v1.school.audit import Audit, FindingResolve, Findings
from api.v1.school.courses.views import (
    CourseComparison,
    CourseDetail,
    CoursePublication,
    Courses,
    CourseVersionDetail,
)
from api.v1.school.instructors import InstructorRecord, Instructors
from api.v1.school.minimums import SchoolMinimumEnd, SchoolMinimums
from api.v1.school.people import People, PersonDetail, PersonEnd, PersonLink
from api.v1.school.school_settings import SchoolAircraftModels, SchoolSettings
from api.v1.student.assignments import AssignmentEnd, StudentAssignments
from api.v1.student.changes import StudentChanges
from api.v1.student.documents import StudentAttestations, StudentDocuments
from api.v1.student.endorsements.views import (
    EndorsementCheck,
    EndorsementKinds,
    EndorsementRevocation,
    StudentEndorsements,
)
from api.v1.student.enrolments import EnrolmentEnd, EnrolmentMove, StudentEnrolments
from api.v1.student.guardians import Guardians
from api.v1.student.handover import StudentHandOver, StudentOrigins, TakeOver
from api.v1.student.ledger import LedgerCheckpoint, LedgerConsistency, LedgerKeys, LedgerProof
from api.v1.student.lesson_records.views import (
    LessonRecordAcknowledge,
    LessonRecordCorrect,
    LessonRecordDetail,
    LessonRecords,
    LessonRecordSign,
)
from api.v1.student.progress import StudentProgress
from api.v1.student.records import StudentRecord
from api.v1.student.retention import StudentErasure, StudentHoldRelease, StudentHolds, StudentRetention
from api.v1.student.students import StudentDetail, StudentEligibility, StudentMilestone, Students

app_name = "api-v1"

urlpatterns = [
    path("aircraft", Aircraft.as_view(), name="aircraft"),
    path("aircraft/<int:aircraft>/checks", AircraftChecks.as_view(), name="aircraft-checks"),
    path("audit/run", Audit.as_view(), name="audit"),
    path("audit/findings", Findings.as_view(), name="findings"),
    path("audit/findings/<uuid:finding>/resolve", FindingResolve.as_view(), name="finding-resolve"),
    path("audit/instructors", Instructors.as_view(), name="instructor-records"),
    path("audit/instructors/<int:instructor>", InstructorRecord.as_view(), name="instructor-record"),
    path("auth/login", Login.as_view(), name="login"),
    path("auth/logout", Logout.as_view(), name="logout"),
    path("eligibility", Eligibility.as_view(), name="eligibility"),
    path("milestones", Milestones.as_view(), name="milestones"),
    path("milestones/<str:milestone>", MilestoneDetail.as_view(), name="milestone"),
    path("endorsement-kinds", EndorsementKinds.as_view(), name="endorsement-kinds"),
    path("notices", Notices.as_view(), name="notices"),
    path("notices/<int:notice>/read", NoticeRead.as_view(), name="notice-read"),
    path("school-minimums", SchoolMinimums.as_view(), name="school-minimums"),
    path("school-minimums/<int:minimum>/end", SchoolMinimumEnd.as_view(), name="school-minimum-end"),
    path("schools/<slug:school>/settings", SchoolSettings.as_view(), name="school-settings"),
    path(
        "schools/<slug:school>/aircraft-models",
        SchoolAircraftModels.as_view(),
        name="school-aircraft-models",
    ),
    path("courses", Courses.as_view(), name="courses"),
    path("courses/<str:course>", CourseDetail.as_view(), name="course"),
    path("courses/<str:course>/versions/<int:number>", CourseVersionDetail.as_view(), name="course-version"),
    path(
        "courses/<str:course>/versions/<int:number>/compare",
        CourseComparison.as_view(),
        name="course-comparison",
    ),
    path(
        "courses/<str:course>/versions/<int:number>/publish",
        CoursePublication.as_view(),
        name="course-publication",
    ),
    path("ledger/keys", LedgerKeys.as_view(), name="ledger-keys"),
    path("ledger/checkpoint", LedgerCheckpoint.as_view(), name="ledger-checkpoint"),
    path("ledger/proof", LedgerProof.as_view(), name="ledger-proof"),
    path("ledger/consistency", LedgerConsistency.as_view(), name="ledger-consistency"),
    path("reminders", Reminders.as_view(), name="reminders"),
    path("reminders/calendar", CalendarAddress.as_view(), name="reminder-calendar"),
    path("reminders/coming", Coming.as_view(), name="reminders-coming"),
    path("reminders/lead-times", LeadTimes.as_view(), name="reminder-lead-times"),
    path("reminders/preferences", Preferences.as_view(), name="reminder-preferences"),
    path("reminders/<uuid:ref>/read", ReminderRead.as_view(), name="reminder-read"),
    path("reminders/<uuid:ref>/snooze", ReminderSnooze.as_view(), name="reminder-snooze"),
    path("turns", StatusChanges.as_view(), name="turns"),
    path("people", People.as_view(), name="people"),
    path("people/<int:role>", PersonDetail.as_view(), name="person"),
    path("people/<int:role>/end", PersonEnd.as_view(), name="person-end"),
    path("people/<int:role>/link", PersonLink.as_view(), name="person-link"),
    path("search", Search.as_view(), name="search"),
    path("students/<uuid:ref>/assignments", StudentAssignments.as_view(), name="student-assignments"),
    path(
        "students/<uuid:ref>/assignments/<int:assignment>/end",
        AssignmentEnd.as_view(),
        name="assignment-end",
    ),
    path("students/<uuid:ref>/guardians", Guardians.as_view(), name="student-guardians"),
    path("students/", Students.as_view(), name="students"),
    path("students/<uuid:ref>/", StudentDetail.as_view(), name="student"),
    path("students/take-over", TakeOver.as_view(), name="take-over"),
    path("students/<uuid:ref>/changes", StudentChanges.as_view(), name="student-changes"),
    path("students/<uuid:ref>/erasure", StudentErasure.as_view(), name="student-erasure"),
    path("students/<uuid:ref>/hand-over", StudentHandOver.as_view(), name="student-hand-over"),
    path("students/<uuid:ref>/holds", StudentHolds.as_view(), name="student-holds"),
    path(
        "students/<uuid:ref>/holds/<int:hold>/release",
        StudentHoldRelease.as_view(),
        name="student-hold-release",
    ),
    path("students/<uuid:ref>/origins", StudentOrigins.as_view(), name="student-origins"),
    path("students/<uuid:ref>/retention", StudentRetention.as_view(), name="student-retention"),
    path("students/<uuid:ref>/record", StudentRecord.as_view(), name="student-record"),
    path("students/<uuid:ref>/eligibility", StudentEligibility.as_view(), name="student-eligibility"),
    path(
        "students/<uuid:ref>/eligibility/<str:milestone>",
        StudentMilestone.as_view(),
        name="student-milestone",
    ),
    path("students/<uuid:ref>/documents", StudentDocuments.as_view(), name="student-documents"),
    path("students/<uuid:ref>/attestations", StudentAttestations.as_view(), name="student-attestations"),
    path("students/<uuid:ref>/endorsements", StudentEndorsements.as_view(), name="student-endorsements"),
    path("students/<uuid:ref>/endorsements/check", EndorsementCheck.as_view(), name="endorsement-check"),
    path(
        "students/<uuid:ref>/endorsements/<uuid:entry>/revoke",
        EndorsementRevocation.as_view(),
        name="endorsement-revocation",
    ),
    path("students/<uuid:ref>/enrolments", StudentEnrolments.as_view(), name="student-enrolments"),
    path("students/<uuid:ref>/enrolments/<uuid:entry>/end", EnrolmentEnd.as_view(), name="enrolment-end"),
    path("students/<uuid:ref>/enrolments/<uuid:entry>/move", EnrolmentMove.as_view(), name="enrolment-move"),
    path("students/<uuid:ref>/progress", StudentProgress.as_view(), name="student-progress"),
    path("students/<uuid:ref>/lesson-records", LessonRecords.as_view(), name="lesson-records"),
    path(
        "students/<uuid:ref>/lesson-records/<uuid:entry>", LessonRecordDetail.as_view(), name="lesson-record"
    ),
    path(
        "students/<uuid:ref>/lesson-records/<uuid:entry>/sign",
        LessonRecordSign.as_view(),
        name="lesson-record-sign",
    ),
    path(
        "students/<uuid:ref>/lesson-records/<uuid:entry>/acknowledge",
        LessonRecordAcknowledge.as_view(),
        name="lesson-record-acknowledge",
    ),
    path(
        "students/<uuid:ref>/lesson-records/<uuid:entry>/correct",
        LessonRecordCorrect.as_view(),
        name="lesson-record-correct",
    ),
]
