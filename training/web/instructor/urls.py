"""URLs of the instructor's pages."""

from django.urls import path

from training.web.instructor import answering, documents, endorsed, endorsing, lessons, tablet, today

_TEACH = "teach/<uuid:ref>/"
_LESSON = f"{_TEACH}lessons/<uuid:entry>/"

urlpatterns = [
    path("today/", today.today, name="today"),
    path(_TEACH, lessons.student, name="teach"),
    path(f"{_TEACH}lessons/begin/", lessons.begin, name="lesson-begin"),
    path(f"{_TEACH}lessons/check/", lessons.check, name="lesson-check"),
    path(_LESSON, lessons.lesson_sheet, name="lesson-sheet"),
    path(f"{_LESSON}sign/", lessons.sign, name="lesson-sign"),
    path(f"{_LESSON}sealed/", lessons.sealed, name="lesson-sealed"),
    path(f"{_LESSON}correct/", lessons.correct, name="lesson-correct"),
    path(f"{_TEACH}requests/<uuid:entry>/answer/", answering.answer, name="request-answer"),
    path(f"{_TEACH}documents/", documents.papers, name="papers"),
    path(f"{_TEACH}endorse/", endorsed.kinds, name="endorse"),
    path(f"{_TEACH}endorse/<slug:kind>/", endorsing.endorse, name="endorse-kind"),
    path(f"{_TEACH}endorsements/<uuid:entry>/revoke/", endorsing.revoke, name="endorsement-revoke"),
    path("endorsements/", endorsed.every, name="endorsements"),
    path("airports/", tablet.nearby, name="airports"),
    path("tablet/", tablet.shell, name="tablet"),
    path("tablet/token/", tablet.token, name="tablet-token"),
    path("tablet/decisions/", tablet.decisions, name="tablet-decisions"),
    path("tablet/airports/", tablet.airport_table, name="tablet-airports"),
    path("tablet/pack/", tablet.pack, name="tablet-pack"),
    path("manifest.webmanifest", tablet.manifest, name="manifest"),
    path("worker.js", tablet.worker, name="worker"),
]
