"""Checks the signed lessons against the ledger: every entry has its rows, and every row its entry.

``manage.py verify_ledger`` checks the ledger itself. This compares the rows with it, in case someone changed
the tables past their triggers.
"""

from collections.abc import Iterator

from syllabus.engine.record import record as engine
from training import record
from training.ledger.core import assertions, sealed
from training.ledger.models import Entry
from training.models import (
    Acknowledgement,
    Correction,
    Flight,
    GroundLesson,
    ItemGrade,
    LessonRecord,
    School,
    SignOff,
)
from training.services.lessons import lesson_content
from training.services.lessons.lesson_content import LessonError
from training.services.signing import seals
from training.triggers.sealing import PREFIX_LENGTH

_KINDS = {
    "lesson.signed": SignOff,
    "lesson.acknowledged": Acknowledgement,
    "lesson.corrected": Correction,
}

#: What the instructor saw at the signature, and what the ledger says if it has none.
_SHOWN: dict[str, object] = {"warnings": [], "hints": [], "findings": [], "findings_reason": ""}


def faults(school: School) -> Iterator[str]:
    """A sentence for each difference between a school's signed lessons and its ledger.

    Slow, because it reads every lesson: for an inspection, not for a page.
    """
    tree = seals.tree_of(school)
    gone = _erased(tree)
    for kind, model in _KINDS.items():
        leaves = dict(Entry.objects.filter(tree=tree, kind=kind).values_list("index", "pk"))
        rows = model._default_manager.filter(school=school).values_list("ledger_tree", "ledger_index")
        places = [index if of == tree else None for of, index in rows]
        # Loading a demo school again deletes its rows, and its ledger entries stay.
        lost = () if school.is_demo else sorted(leaves.keys() - set(places) - gone.keys())
        for index in lost:
            yield f"entry {index} ({kind}) has no row"
        for place in places:
            if place not in leaves:
                yield f"a row of {model._meta.db_table} names entry {place}, which is not a {kind}"
        if len(set(places)) < len(places):
            yield f"rows of {model._meta.db_table} share an entry"
    signed = SignOff.objects.filter(school=school).select_related("lesson__course_version__course", "student")
    for each in signed.iterator():
        yield from _of_lesson(each, tree)
    yield from _without_lesson(school)
    drafted = LessonRecord.objects.filter(school=school, state=LessonRecord.State.SIGNED, sign_off=None)
    for pk in drafted.values_list("pk", flat=True):
        yield f"lesson record {pk} is marked signed, but has no sign-off"


def erased(school: School) -> Iterator[str]:
    """A sentence for every ledger entry of a school whose body was erased: which one, and why."""
    tree = seals.tree_of(school)
    gone = _erased(tree)
    for index, kind in Entry.objects.filter(tree=tree, kept=None).values_list("index", "kind"):
        if index in gone:
            yield f"entry {index} ({kind}) was erased: {gone[index]}"


def _erased(tree: str) -> dict[int, str]:
    """The signed reasons by the index of the erased entry; only if the body is gone."""
    rows = Entry.objects.filter(tree=tree, kind=sealed.ERASURE, kept__isnull=False).select_related("kept")
    said = [each.kept.value for each in rows.iterator()]
    gone = set(Entry.objects.filter(tree=tree, kept=None).values_list("index", flat=True))
    return {each["erases"]: each["reason"] for each in said if each["erases"] in gone}


def _of_lesson(signed: SignOff, tree: str) -> Iterator[str]:
    lesson, what = signed.lesson, f"lesson record {signed.lesson_id}"
    leaf = Entry.objects.filter(tree=tree, index=signed.ledger_index).select_related("kept").first()
    kept = getattr(leaf, "kept", None)  # none if the body was erased
    kind = engine.FLIGHT_INSTRUCTOR
    if leaf is not None and kept is not None:
        body = kept.value
        kind = body["instructor"].get("kind", kind)
        said = (body["lesson_record"], body["content_hash"], body["instructor"]["user"])
        shown = [body.get(key, empty) for key, empty in _SHOWN.items()]
        if (said, shown) != (
            (str(lesson.pk), signed.content_hash, signed.by_id),
            [getattr(signed, key) for key in _SHOWN],
        ):
            yield f"{what}: its sign-off differs from ledger entry {signed.ledger_index}"
        if body.get("confirmed", {}) != signed.confirmed:
            yield f"{what}: its re-authentication differs from ledger entry {signed.ledger_index}"
        if wrong := assertions.entry_fault(leaf.kind, leaf.subject, body):
            yield f"{what}: ledger entry {signed.ledger_index} is invalid: {wrong}"
    corrects = str(lesson.corrects_id) if lesson.corrects_id else None
    digest = lesson_content.hash_of(
        lesson.lesson,
        lesson.content,
        corrects,
        lesson.reason,
        lesson_content.course_of(lesson.course_version),
    )
    if not digest == lesson.content_hash == signed.content_hash:
        yield f"{what}: its content differs from what was signed"
        return
    if lesson.state != LessonRecord.State.SIGNED:
        yield f"{what}: is signed, but marked as a draft"
    try:
        content = lesson_content.read(lesson.content)
    except LessonError as wrong:
        yield f"{what}: its content cannot be read: {wrong}"
        return
    signature = engine.Instructor(signed.instructor_name, signed.instructor_certificate, kind)
    corrected = Correction.objects.filter(lesson=lesson).exists()
    for fault in record.differences(
        signed.student, lesson.prefix, content.entries(lesson.prefix, signature), retired=corrected
    ):
        yield f"{what}: {fault}"


def _without_lesson(school: School) -> Iterator[str]:
    """Lesson entries in the ledger that belong to no signed lesson."""
    known = {f"{pk}/" for pk in SignOff.objects.filter(school=school).values_list("lesson_id", flat=True)}
    for model in (Flight, GroundLesson, ItemGrade):
        sealed = model._default_manager.filter(school=school, sealed=True)
        for name in sealed.values_list("entry_id", flat=True):
            if name[:PREFIX_LENGTH] not in known:
                yield f"{model._meta.db_table} {name} is locked, but belongs to no signed lesson"
