"""Signs statements into the ledger of the student's school."""

import datetime as dt
import json
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from training.ledger.core import assertions
from training.ledger.store import entries
from training.models import School, Student, User
from training.services.signing import nonces


def tree_of(school: School | int) -> str:
    """The name of a school's ledger: the school's number, because its short name may change."""
    return f"school-{school if isinstance(school, int) else school.pk}"


def school_of(tree: str) -> School | None:
    """The school whose ledger has that name, if it exists here."""
    number = tree.removeprefix("school-")
    return School.objects.filter(pk=int(number)).first() if number.isdecimal() else None


def seal(student: Student, kind: str, body: Mapping[str, Any], *, at: dt.datetime) -> int:
    """Add a statement about a student's record to the ledger, in the caller's transaction; returns its index.

    The body may hold what JSON can, with fractions as text. ``confirmed`` must cover this very body, because
    readers of the ledger check it.

    Raises: ValueError if it is not; NotConfirmed if its nonce is spent.
    """
    sealable, subject = json.loads(json.dumps(body), parse_float=_as_text), str(student.ref)
    if wrong := assertions.entry_fault(kind, subject, sealable):
        raise ValueError(f"{kind} of {subject} is not sealed: {wrong}")
    nonces.spend(sealable.get("confirmed"), at)
    made = entries.append(tree=tree_of(student.school_id), kind=kind, subject=subject, body=sealable, at=at)
    return made.index


def signed(
    student: Student,
    kind: str,
    body: Mapping[str, Any],
    *,
    by: User,
    at: dt.datetime,
    confirmed: Mapping[str, Any] | None,
) -> dict[str, Any]:
    """Add a statement with its signer and re-authentication; returns the columns for its own row."""
    said = {**body, "confirmed": confirmed} if confirmed else body
    return {
        "school_id": student.school_id,
        "student": student,
        "by": by,
        "at": at,
        "confirmed": confirmed or {},
        "ledger_index": seal(student, kind, said, at=at),
    }


def _as_text(number: str) -> str:
    """A fraction as text, because the ledger takes none."""
    return format(Decimal(number), "f")
