"""URLs of the administrator's pages."""

from django.urls import path

from training.web.people import enrolments, guardians, invitations, people, second_factors, sign_ins, students
from training.web.school import (
    aircraft,
    aircraft_models,
    courses,
    groundings,
    imports,
    mail,
    minimums,
    overview,
    records,
    retention,
    settings,
)
from training.web.shared import opening

_HERE = "school/<slug:school>/"
_STUDENT = f"{_HERE}students/<uuid:ref>/"
_COURSE = f"{_HERE}courses/<str:course>/<int:number>/"

urlpatterns = [
    path("school/", opening.schools, name="schools"),
    path(_HERE, overview.overview, name="school"),
    path(f"{_HERE}students/", students.roll, name="school-students"),
    path(_STUDENT, students.teaching, name="school-student"),
    path(f"{_STUDENT}enrol/", enrolments.begin, name="school-enrol"),
    path(f"{_STUDENT}enrolments/<uuid:entry>/move/", enrolments.move, name="school-enrolment-move"),
    path(f"{_STUDENT}enrolments/<uuid:entry>/end/", enrolments.end, name="school-enrolment-end"),
    path(f"{_STUDENT}assign/", students.assign, name="school-assign"),
    path(f"{_STUDENT}assign/<int:pk>/end/", students.end_assignment, name="school-unassign"),
    path(f"{_STUDENT}account/", students.account, name="school-student-account"),
    path(f"{_STUDENT}guardians/", guardians.record, name="school-guardian"),
    path(f"{_STUDENT}guardians/<int:pk>/account/", guardians.give, name="school-guardian-account"),
    path(f"{_STUDENT}guardians/<int:pk>/account/end/", guardians.take, name="school-guardian-account-end"),
    path(f"{_STUDENT}record/", records.record, name="school-record"),
    path(f"{_STUDENT}record/attest/", records.attest, name="school-attest"),
    path(f"{_STUDENT}retention/", retention.retention, name="school-retention"),
    path(f"{_STUDENT}retention/<int:pk>/release/", retention.release, name="school-hold-release"),
    path(f"{_STUDENT}erase/", retention.erase, name="school-erase"),
    path(f"{_STUDENT}import/", imports.upload, name="school-import"),
    path(f"{_STUDENT}import/columns/", imports.columns, name="school-import-columns"),
    path(f"{_HERE}courses/", courses.listed, name="school-courses"),
    path(_COURSE, courses.course, name="school-course"),
    path(f"{_COURSE}file/", courses.file, name="school-course-file"),
    path(f"{_COURSE}publish/", courses.publish, name="school-course-publish"),
    path(f"{_HERE}people/", people.listed, name="school-people"),
    path(f"{_HERE}people/add/", people.add, name="school-person-add"),
    path(f"{_HERE}people/events/", sign_ins.of_school, name="school-sign-in-events"),
    path(f"{_HERE}people/invitations/<int:pk>/again/", invitations.again, name="school-invitation-again"),
    path(
        f"{_HERE}people/invitations/<int:pk>/withdraw/",
        invitations.withdraw,
        name="school-invitation-withdraw",
    ),
    path(f"{_HERE}people/<int:pk>/", people.role, name="school-person"),
    path(f"{_HERE}people/<int:pk>/end/", people.end, name="school-person-end"),
    path(f"{_HERE}people/<int:pk>/second-factor/", second_factors.remove, name="school-person-second-factor"),
    path(f"{_HERE}people/<int:pk>/mail/", people.mail, name="school-person-mail"),
    path(f"{_HERE}aircraft/", aircraft.listed, name="school-aircraft"),
    path(f"{_HERE}aircraft/<int:pk>/checks/", aircraft.record, name="school-aircraft-check"),
    path("aircraft/", groundings.listed, name="fleet"),
    path("aircraft/<int:pk>/", groundings.aircraft, name="aircraft"),
    path("aircraft/<int:pk>/groundings/<int:grounding>/end/", groundings.end, name="aircraft-grounding-end"),
    path(f"{_HERE}aircraft-models/", aircraft_models.listed, name="school-aircraft-models"),
    path(f"{_HERE}aircraft-models/add/", aircraft_models.add, name="school-aircraft-model-add"),
    path(f"{_HERE}aircraft-models/unlink/", aircraft_models.unlink, name="school-aircraft-model-unlink"),
    path(f"{_HERE}settings/", settings.settings, name="school-settings"),
    path(f"{_HERE}mail/", mail.listed, name="school-mail"),
    path(f"{_HERE}mail/test/", mail.test, name="school-mail-test"),
    path(f"{_HERE}mail/retry/", mail.retry, name="school-mail-retry"),
    path(f"{_HERE}mail/<uuid:which>/retry/", mail.retry, name="school-mail-retry-one"),
    path(f"{_HERE}minimums/", minimums.listed, name="school-minimums"),
    path(f"{_HERE}minimums/<int:pk>/end/", minimums.end, name="school-minimum-end"),
]
