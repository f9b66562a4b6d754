"""A signed lesson or endorsement to put into a paper logbook: one small page as PDF.

An entry of training gives its description and length and the instructor's signature, certificate number and
the end of the certificate or of the recent experience (14 CFR 61.51(h)); the instructor signs the logbook of
whoever was taught (14 CFR 61.189(a)). Only what is signed here and not replaced or revoked is printed.
"""

import datetime as dt
import uuid
import zoneinfo
from typing import Any

from django.utils import translation

from syllabus.courses.outlines import published
from syllabus.law import endorsements as catalogue
from training import pdf
from training.models import EndorsementSeal, Role, SignOff, Student, User
from training.presenters import lesson as in_words
from training.services import access
from training.services.errors import find

#: Beside a date that nobody recorded, a line to write it on.
UNKNOWN = "not on record; write it by hand: ____________"


def entry(student: Student, lesson_id: uuid.UUID, *, by: User, at: dt.datetime, via: str) -> bytes:
    """A signed lesson that no correction replaced. Raises: NotAllowed; NotFound."""
    access.require(by, "read a record", student, on=at.date())
    rows = SignOff.objects.select_related("lesson__course_version", "by")
    one = {"student": student, "lesson_id": lesson_id, "lesson__correction__isnull": True}
    signed = find(rows, "signed lesson of that id, not corrected", **one)
    access.log(by, student, access.READ, f"logbook entry {lesson_id}", via=via, at=at)
    version = signed.lesson.course_version
    outline = published(version) if version else None
    zone = zoneinfo.ZoneInfo(student.school.time_zone)
    with translation.override("en"):
        said = in_words.lesson(signed.lesson.content, zone, outline)
    items = [f"{each.title}: {each.grade}" for each in said.items]
    code = signed.lesson.lesson
    planned = next((each.title for each in (outline.lessons if outline else ()) if each.code == code), "")
    taught = " ".join(filter(None, (code, planned)))
    facts = [
        *said.flight,
        *((f"Ground: {label.lower()}", words) for label, words in said.ground),
        ("Lesson", "; ".join(filter(None, (taught, *items, said.comments)))),
    ]
    signature = (signed.instructor_name, signed.instructor_certificate, signed.by, signed.performed_at)
    return _made(student, "Logbook entry", facts, "", signature, signed.ledger_index, at)


def endorsement(student: Student, entry_id: uuid.UUID, *, by: User, at: dt.datetime, via: str) -> bytes:
    """An endorsement given here and not revoked. Raises: NotAllowed; NotFound."""
    access.require(by, "read a record", student, on=at.date())
    rows = EndorsementSeal.objects.select_related("endorsement", "by")
    one = {
        "student": student,
        "endorsement__entry_id": str(entry_id),
        "endorsement__retired_at__isnull": True,
    }
    seal = find(rows, "endorsement of that id that was given here and not revoked", **one)
    access.log(by, student, access.READ, f"endorsement {entry_id} to print", via=via, at=at)
    given = seal.endorsement
    kind = catalogue.current().kinds.get(given.kind)
    title = kind.title if kind else "Endorsement"
    facts = [("Given", given.given.isoformat())]
    if kind:
        facts.append(("Rule", kind.cite.section))
    if given.expires:
        facts.append(("Ends", given.expires.isoformat()))
    signature = (given.instructor_name or "", given.instructor_certificate or "", seal.by, seal.at)
    return _made(student, title, facts, seal.wording, signature, seal.ledger_index, at)


def _made(
    student: Student,
    title: str,
    facts: list[tuple[str, str]],
    words: str,
    signature: tuple[str, str, User, dt.datetime],
    index: int,
    at: dt.datetime,
) -> bytes:
    name, certificate, signer, signed_at = signature
    data: dict[str, Any] = {
        "title": title,
        "student": {"name": student.name or "(no name on record)"},
        "school": student.school.name,
        "facts": [list(each) for each in facts],
        "words": words,
        "signature": [
            ["Instructor", name],
            ["Certificate", certificate],
            ["Recent experience through", recent_experience(student, signer, signed_at)],
            ["Signed electronically", f"{student.school.day(signed_at)}, ledger entry {index}"],
        ],
        "note": "A copy of a signed record. The instructor signs the copy in the logbook by hand.",
    }
    return pdf.make("sticker", data, at=at)


def recent_experience(student: Student, signer: User, signed_at: dt.datetime) -> str:
    """The last day of the signer's recent experience on record now; a line where none covers that day."""
    roles = Role.objects.filter(school=student.school_id, user=signer, role=Role.Kind.INSTRUCTOR)
    last = roles.values_list("recent_experience_until", flat=True).first()
    if last is None or last < student.school.day(signed_at):
        return UNKNOWN
    return f"{last.isoformat()} (as recorded now)"
