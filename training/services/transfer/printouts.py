"""A student's record, endorsements or one signed lesson as PDF.

Each reading is logged. The same state and instant give the same bytes, as in a transfer file.
"""

import datetime as dt
import uuid

from training import models, pdf
from training.services import access
from training.services.errors import find
from training.services.records import records
from training.services.transfer import handover_pages


def record(student: models.Student, *, by: models.User, at: dt.datetime, via: str) -> bytes:
    """The whole record. Raises: NotAllowed."""
    document = records.export_document(student, by=by, at=at, via=via)
    return pdf.make("record", handover_pages.record(student, document, at), at=at)


def endorsements(student: models.Student, *, by: models.User, at: dt.datetime, via: str) -> bytes:
    """The endorsements, with the wording of those given here. Raises: NotAllowed."""
    document = records.export_document(student, by=by, at=at, via=via)
    sealed = models.EndorsementSeal.objects.filter(student=student)
    wordings = dict(sealed.values_list("endorsement__entry_id", "wording"))
    return pdf.make("endorsements", handover_pages.endorsements(student, document, wordings, at), at=at)


def lesson(
    student: models.Student, lesson_id: uuid.UUID, *, by: models.User, at: dt.datetime, via: str
) -> bytes:
    """One signed lesson. Raises: NotAllowed; NotFound if there is no signed lesson of that id."""
    access.require(by, "read a record", student, on=at.date())
    rows = models.SignOff.objects.select_related("lesson__course_version")
    signed = find(rows, "signed lesson of that id", student=student, lesson_id=lesson_id)
    access.log(by, student, access.READ, f"lesson-record {lesson_id}", via=via, at=at)
    known = models.Acknowledgement.objects.filter(sign_off=signed).first()
    corrected = models.Correction.objects.filter(lesson=lesson_id).first()
    data = handover_pages.lesson(student, signed.lesson, signed, known, corrected, at)
    return pdf.make("lesson", data, at=at)
