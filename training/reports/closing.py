"""What closes a gap of a milestone: an endorsement, a document, or a lesson of the course. Reads only."""

from collections.abc import Iterator
from dataclasses import dataclass

from syllabus.engine.course.course import Lesson
from syllabus.engine.course.progress import COMPLETE
from syllabus.engine.rules.finding import Finding
from syllabus.law import endorsements
from training.reports.progress import Standing, items_lacking, short_time

ENDORSEMENT, DOCUMENT, LESSON, DAY = "endorsement", "document", "lesson", "day"
#: Kinds of requirement that a document or a test meets by itself.
OF_PAPERS = ("document", "certificate", "medical", "test_passed")
#: A kind that only the calendar meets.
_OF_AGE = "age_at_least"


@dataclass(frozen=True, slots=True)
class Closing:
    """What closes a gap. ``name`` is the kind of endorsement or the lesson's code, ``title`` its words; both
    are empty where nothing is named, as for a student in no course.
    """

    kind: str
    name: str = ""
    title: str = ""


def closing(finding: Finding, stands: Standing | None) -> Closing:
    """What closes the gap of a requirement without parts.

    An endorsement comes before a document: what an instructor gives is no document to bring. Everything else
    is flown or taught, in the first lesson of the course that takes it up, the proposed one first.
    """
    rule = finding.rule
    kind = next((each for each in endorsements.current().kinds.values() if rule.id in each.proves), None)
    if kind is not None:
        return Closing(ENDORSEMENT, kind.kind, kind.title)
    if ENDORSEMENT in rule.kind:
        return Closing(ENDORSEMENT)
    if rule.kind in OF_PAPERS:
        return Closing(DOCUMENT)
    if rule.kind == _OF_AGE:
        return Closing(DAY)
    lesson = next((each for each in _lessons(stands) if _takes_up(each, finding, stands)), None)
    return Closing(LESSON, lesson.code, lesson.title) if lesson else Closing(LESSON)


def _lessons(stands: Standing | None) -> Iterator[Lesson]:
    """The lessons of the course: the proposed one, those that are ready, then those not complete in order."""
    if stands is None:
        return
    if stands.next.proposal:
        yield stands.next.proposal.lesson
    yield from (each.lesson for each in stands.next.others)
    yield from (each.lesson for each in stands.progress.lessons.values() if each.state != COMPLETE)


def _takes_up(lesson: Lesson, finding: Finding, stands: Standing | None) -> bool:
    """Whether a lesson plans the requirement, some of its time, or an item that proves it."""
    items, short = items_lacking(finding), short_time(finding)
    known = stands.progress.outline.by_code if stands else {}
    return (
        finding.rule.id in lesson.plans
        or bool(short and lesson.overlap(short.counts))
        or any(items.intersection(known[code].proves) for code in lesson.items)
    )
