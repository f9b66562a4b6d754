"""URLs of the pages."""

from django.urls import include, path

from training.web import reminders, search, views
from training.web.help import views as help_views
from training.web.school import audit
from training.web.shared import language, status_changes
from training.web.student import history, logbook, pages, releases, requests
from training.web.student.printouts import page as paper

urlpatterns = [
    # The most requested come first, because Django tries URLs in order.
    path("students/<uuid:ref>/", views.student, name="student"),
    path("students/<uuid:ref>/standing/", pages.standing, name="standing"),
    path("students/<uuid:ref>/hours/", pages.hours, name="hours"),
    path("students/<uuid:ref>/lessons/", pages.lessons, name="lessons"),
    path("", views.home, name="home"),
    path("", include("training.web.accounts.urls")),
    path("", include("training.web.instructor.urls")),
    path("", include("training.web.school.urls")),
    path("words/<str:language>.js", language.words, name="words"),
    path("logbook/", logbook.students, name="logbook"),
    path("students/<uuid:ref>/logbook/", logbook.student, name="student-logbook"),
    path("milestones/", views.milestones, name="milestones"),
    path("problems/not-covered", views.not_covered, name="not-covered"),
    path("help/", help_views.contents, name="help"),
    path("help/<slug:reader>/<slug:slug>/", help_views.page, name="help-page"),
    path("search/", search.page, name="search"),
    path("students/", views.board, name="students"),
    path("students/<uuid:ref>/lessons/<uuid:entry>/", pages.lesson, name="lesson"),
    path("students/<uuid:ref>/lessons/<uuid:entry>/acknowledge/", pages.acknowledge, name="acknowledge"),
    path("students/<uuid:ref>/requests/", requests.listed, name="requests"),
    path("students/<uuid:ref>/requests/<uuid:entry>/withdraw/", requests.withdraw, name="request-withdraw"),
    path("students/<uuid:ref>/releases/", releases.listed, name="solo-releases"),
    path("students/<uuid:ref>/releases/plan/", releases.plan, name="solo-release-plan"),
    path("students/<uuid:ref>/releases/<uuid:entry>/", releases.release, name="solo-release"),
    path("students/<uuid:ref>/releases/<uuid:entry>/sheet/", releases.sheet, name="solo-release-sheet"),
    path("students/<uuid:ref>/releases/<uuid:entry>/end/", releases.end, name="solo-release-end"),
    path("students/<uuid:ref>/changes/", history.changes, name="changes"),
    path("students/<uuid:ref>/hand-over/", history.hand_over, name="hand-over"),
    path("students/<uuid:ref>/record.pdf", paper, {"what": "record"}, name="record-paper"),
    path("students/<uuid:ref>/endorsements.pdf", paper, {"what": "endorsements"}, name="endorsements-paper"),
    path("students/<uuid:ref>/lessons/<uuid:entry>.pdf", paper, {"what": "lesson"}, name="lesson-paper"),
    path("students/<uuid:ref>/entries/<uuid:entry>.pdf", paper, {"what": "entry"}, name="entry-sticker"),
    path(
        "students/<uuid:ref>/endorsements/<uuid:entry>.pdf",
        paper,
        {"what": "endorsement"},
        name="endorsement-sticker",
    ),
    path("students/<uuid:ref>/record.json", pages.download, name="record-document"),
    path("audit/", audit.listed, name="audit"),
    path("audit/run/", audit.run, name="audit-run"),
    path("audit/findings.csv", audit.table, {"form": "csv"}, name="audit-table"),
    path("audit/findings.xlsx", audit.table, {"form": "xlsx"}, name="audit-workbook"),
    path("audit/report.pdf", audit.report, name="audit-report"),
    path("audit/findings/<uuid:ref>/", audit.finding, name="finding"),
    path("audit/instructors/", audit.own_records, name="own-records"),
    path("audit/instructors/<int:instructor>/", audit.own_record, name="own-record"),
    path("since-yesterday/", status_changes.listed, name="since-yesterday"),
    path("reminders/", reminders.own, name="reminders"),
    path("reminders/ahead/", reminders.ahead, name="reminders-ahead"),
    path("reminders/lead-times/<slug:school>/", reminders.set_lead_times, name="lead-times"),
    path("reminders/notices/<int:notice>/", reminders.read_notice, name="notice"),
    path("reminders/calendar/", reminders.calendar, name="reminder-calendar"),
    path("reminders/preferences/", reminders.prefer, name="reminder-preferences"),
    path("reminders/<uuid:ref>/", reminders.act, name="reminder"),
    path("calendars/<str:secret>.ics", reminders.feed, name="calendar"),
]
