"""Whether somebody may sign as an instructor on a day."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from syllabus.engine import record as engine
from training.models import Role, Student, User


@dataclass(frozen=True, slots=True)
class Refusal:
    """What a rule forbids: what it is about, a sentence that names the way out, and where the rule stands."""

    place: str
    message: str
    citation: str

    def as_json(self) -> dict[str, str]:
        return {"place": self.place, "message": self.message, "citation": self.citation}


def signature(by: User, student: Student) -> engine.Instructor | None:
    """The name and certificate that ``by`` signs with at the student's school; None without a certificate."""
    role = _role(by, student)
    return engine.Instructor(str(by), role.certificate) if role and role.certificate else None


def refusals(by: User, student: Student, on: dt.date) -> list[Refusal]:
    """Why ``by`` is no authorized instructor for this student on a day; empty where nothing is wrong.

    An authorized instructor holds a certificate and has the recent experience (14 CFR 61.1, 61.197). Where
    the school recorded no last day of recent experience, it is taken to be looked after elsewhere.
    """
    found: list[Refusal] = []
    role = _role(by, student)
    if student.user_id is not None and student.user_id == by.pk:
        found.append(
            Refusal(
                "instructor",
                "Nobody gives an endorsement to themselves; another instructor must.",
                "14 CFR 61.1",
            )
        )
    if not by.is_active:
        found.append(Refusal("instructor", f"The account of {by} is closed.", "14 CFR 61.1"))
    if role is None:
        found.append(
            Refusal(
                "instructor",
                f"{by} is no instructor at {student.school.name}; an instructor of the school must sign.",
                "14 CFR 61.1",
            )
        )
        return found
    if not role.certificate:
        found.append(
            Refusal(
                "instructor",
                f"{by} has no certificate number at {student.school.name}; the school adds it to the role.",
                "14 CFR 61.1",
            )
        )
    last = role.recent_experience_until
    if last is not None and last < on:
        found.append(
            Refusal(
                "instructor",
                f"The recent experience of {by} ended on {last}; the school records its renewal.",
                "14 CFR 61.197",
            )
        )
    return found


def _role(by: User, student: Student) -> Role | None:
    return Role.objects.filter(user=by, school_id=student.school_id, role=Role.Kind.INSTRUCTOR).first()
