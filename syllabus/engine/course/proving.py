"""What lessons of a course prove to the rules: grades of requirement items, out of those of its own items.

A rule asks for items of its own (``presolo.d-05``), a lesson grades those of its course, and each version of
a course says which of its items prove which of a rule's. A proof is as good as the weakest grade it rests on
(``course.proven``), and is worked out at each lesson that grades any of them, in order of time: so a grade
that is corrected later changes every proof that rested on it.
"""

from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from typing import Any

from syllabus.engine.course.course import Outline, proven
from syllabus.engine.record.record import GRADES, NOT_OBSERVED, Flight, ItemGrade
from syllabus.engine.rules.reasons import Reason, reason

#: Between a lesson's id and the item that it proves, in the id of a proof.
MARK = "/proof/"
_EARLIEST = datetime.min.replace(tzinfo=UTC)


def lesson_of(entry: str) -> str:
    """The id of the lesson that an entry's id begins with; the whole id where it is of no lesson.

    >>> lesson_of("0b5a1f8e-3c7d-4f7c-9f51-3f1f5d0f9a01/item-3")
    '0b5a1f8e-3c7d-4f7c-9f51-3f1f5d0f9a01'
    """
    return entry.partition("/")[0]


def rests_on(proof: ItemGrade) -> Reason:
    """What a proof rests on. Its remark has items and grades; once it was a sentence."""
    return reason("proof.rests-on", items=tuple(proof.remarks.removeprefix("rests on ").split(", ")))


def proofs(
    grades: Iterable[ItemGrade], flights: Mapping[str, Flight], outlines: Mapping[str, Outline]
) -> list[ItemGrade]:
    """The grades of requirement items that follow from the grades of lessons.

    ``outlines`` gives for a lesson's id the version of the course that it is of. Grades of no such lesson
    (brought from elsewhere) count toward a proof, and make none by themselves. Where a lesson grades a
    requirement item itself, that stands and nothing is worked out for it. Of two grades of one day whose
    order nothing on record gives, the lower counts.
    """
    if not outlines:
        return []
    lessons: dict[str, list[ItemGrade]] = {}
    for grade in grades:
        if grade.instructor is not None and grade.grade != NOT_OBSERVED and MARK not in grade.id:
            lesson = lesson_of(grade.id)
            if lesson == grade.id or lesson not in outlines:
                lesson = f"/{grade.id}"  # no lesson's, even where it is called like one
            lessons.setdefault(lesson, []).append(grade)
    newest: dict[str, str] = {}
    when: dict[str, tuple[date, datetime | None]] = {}
    made: list[ItemGrade] = []
    for lesson, graded in sorted(lessons.items(), key=lambda each: _order(each[1], flights, each[0])):
        at = _when(graded[0], flights)
        for grade in graded:
            given, before = grade.grade, when.get(grade.item)
            if before is not None and before[0] == at[0] and None in (before[1], at[1]):
                given = min(given, newest[grade.item], key=GRADES.index)
            newest[grade.item], when[grade.item] = given, at
        if outline := outlines.get(lesson):
            made.extend(_of_lesson(lesson, graded, outline, newest))
    return made


def _when(grade: ItemGrade, flights: Mapping[str, Flight]) -> tuple[date, datetime | None]:
    """The day, and the takeoff where it is known: without one, which lesson of a day was the later is not."""
    flight = flights.get(grade.flight) if grade.flight else None
    return grade.date, flight.off if flight is not None else None


def _order(graded: list[ItemGrade], flights: Mapping[str, Flight], lesson: str) -> tuple[Any, ...]:
    day, off = _when(graded[0], flights)
    return day, off or _EARLIEST, lesson


def _of_lesson(
    lesson: str, graded: list[ItemGrade], outline: Outline, newest: Mapping[str, str]
) -> Iterable[ItemGrade]:
    found, given = proven(outline, newest), {grade.item: grade for grade in graded}
    for item, proving in outline.proofs.items():
        touched = [given[each.code] for each in proving if each.code in given]
        if not touched or item in given or item not in found:
            continue
        first = touched[0]
        yield ItemGrade(
            id=f"{lesson}{MARK}{item}",
            item=item,
            date=first.date,
            grade=found[item],
            flight=first.flight,
            instructor=first.instructor,
            remarks=", ".join(f"{each.code} {newest[each.code]}" for each in proving),
            recorded=first.recorded,
            provenance=first.provenance,
        )
