"""Checkpoints and proofs from a school's ledger, for those who may read the student's record.

Every answer with a proof has the form ``ledger-export/1`` (``training.ledger.store.export``), so that
``python -m training.ledger.verify`` checks it without this server. A checkpoint has a size, a root and an
instant, and nothing of the entries; only those who may read a student's record see its entries.
"""

import datetime as dt
import uuid
from typing import Any

from django.db.models import Q, QuerySet

from syllabus.engine.errors import QuestionError
from training.ledger.core import statements
from training.ledger.core.proofs import ProofError
from training.ledger.models import Checkpoint, Entry, Head
from training.ledger.store import checkpoints, export, keys
from training.models import Acknowledgement, EndorsementSeal, Revocation, School, SignOff, Student, User
from training.services import access
from training.services.errors import NotFound
from training.services.signing.seals import tree_of


def school_of(user: User, slug: str | None) -> School:
    """The school of the short name, or the user's only one.

    Raises: NotFound; QuestionError if the user has several schools and names none.
    """
    found = {
        each.slug: each
        for each in School.objects.filter(
            Q(roles__user=user) | Q(students__user=user), **({"slug": slug} if slug else {})
        ).distinct()
    }
    if not found:
        raise NotFound("school's ledger")
    if len(found) > 1:
        several = f"you belong to several schools; say which: {', '.join(sorted(found))}"
        raise QuestionError.at("school", several)
    return next(iter(found.values()))


def checkpoint(school: School, *, at: dt.datetime) -> Checkpoint:
    """The newest signed checkpoint of a school; if there is none yet, a new one.

    Raises: NotFound if the ledger is empty; ImproperlyConfigured without a key.
    """
    tree = tree_of(school)
    found = checkpoints.newest(tree)
    if found is not None:
        return found
    try:
        return checkpoints.issue(tree, at=at)
    except Head.DoesNotExist:
        raise NotFound("entry in the school's ledger, and so no checkpoint,") from None


def public_keys() -> list[dict[str, str]]:
    """The public parts of all keys that signed here, as JWKs."""
    return [statements.as_jwk(kid, public) for kid, public in sorted(keys.known().items())]


def of_entry(user: User, school: School, index: int, *, via: str, at: dt.datetime) -> dict[str, Any]:
    """One entry with its proof. The reading is logged. Raises: NotFound."""
    entry = Entry.objects.filter(tree=tree_of(school), index=index).first()
    if entry is None:
        raise NotFound("entry of that index")
    try:
        ref = uuid.UUID(entry.subject)
        student = access.open_record(user, ref, what=f"ledger entry {index}", via=via, at=at)
    except (ValueError, NotFound):
        raise NotFound("entry of that index") from None
    if student.school_id != school.pk:
        raise NotFound("entry of that index")
    return export.export(entry.tree, at=at, indices=[index])


def of_lesson(user: User, lesson: uuid.UUID, *, via: str, at: dt.datetime) -> dict[str, Any]:
    """The entries of a lesson record (sign-off, acknowledgement) with their proofs. Raises: NotFound."""
    seen = access.visible_students(user, on=at.date())
    signed = SignOff.objects.filter(lesson=lesson, student__in=seen).select_related("student").first()
    if signed is None:
        raise NotFound("signed lesson record of that id")
    indices = [
        signed.ledger_index,
        *Acknowledgement.objects.filter(sign_off=signed).values_list("ledger_index", flat=True),
    ]
    return _proved(user, signed.student, indices, f"ledger lesson-record {lesson}", via, at)


def of_endorsement(user: User, entry: uuid.UUID, *, via: str, at: dt.datetime) -> dict[str, Any]:
    """The entries of an endorsement (given, revoked) with their proofs. Raises: NotFound."""
    seen = access.visible_students(user, on=at.date())
    of_it: dict[str, Any] = {"endorsement__entry_id": str(entry), "student__in": seen}
    seal = EndorsementSeal.objects.filter(**of_it).select_related("student").first()
    if seal is None:
        raise NotFound("endorsement of that id that was given here")
    ended: QuerySet[Revocation] = Revocation.objects.filter(endorsement=seal.endorsement_id)
    indices = [seal.ledger_index, *ended.values_list("ledger_index", flat=True)]
    return _proved(user, seal.student, indices, f"ledger endorsement {entry}", via, at)


def _proved(
    user: User, student: Student, indices: list[int], what: str, via: str, at: dt.datetime
) -> dict[str, Any]:
    access.log(user, student, access.READ, what, via=via, at=at)
    return export.export(tree_of(student.school_id), at=at, indices=indices)


def grown(school: School, first: int, second: int | None, *, at: dt.datetime) -> dict[str, Any]:
    """The consistency proof between two signed checkpoints; ``second`` None means the newest.

    Raises: NotFound if there is no checkpoint of that size; QuestionError if the first is the larger;
            ImproperlyConfigured without a key.
    """
    tree = tree_of(school)
    new = checkpoint(school, at=at) if second is None else _signed(tree, second)
    old = _signed(tree, first)
    try:
        return export.document(new, at=at, earlier=[old])
    except ProofError as wrong:
        raise QuestionError.at("from", str(wrong)) from None


def _signed(tree: str, size: int) -> Checkpoint:
    found = Checkpoint.objects.filter(tree=tree, size=size).order_by("-pk").first()
    if found is None:
        raise NotFound(f"checkpoint signed over {size} entries")
    return found
