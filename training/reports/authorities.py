"""The authorities under whose rules a student trains: those of the milestones that the courses lead to."""

import datetime as dt
from collections.abc import Mapping

from syllabus.courses import outlines
from syllabus.engine.course.course import Outline
from syllabus.engine.rules.rulebook import Milestone, Rulebook, Rules, RuleVersion
from syllabus.law import rulebook
from syllabus.models.courses import PUBLISHED
from training.models import Enrolment, School, Student


def leads_to(outline: Outline) -> tuple[Milestone, ...]:
    """The milestones that a course leads to, in order: those whose items its own items prove."""
    proofs = outline.proofs.keys()
    return tuple(each for each in rulebook.current().on_the_way() if proofs & each.items.keys())


def asked(student: Student, rules: Rulebook) -> list[Milestone]:
    """The milestones of a student's authorities, and those of the school and the course."""
    others = rulebook.current().of_authority.keys() - of(student)
    return [each for each in rules.milestones.values() if each.authority not in others]


def rule(rules: Mapping[str, Rules], name: str, day: dt.date, whose: Student | School) -> RuleVersion:
    """The rule of that name on a day, of the first authority; before its first version, the first version."""
    return rules[of(whose)[0]].near(name, day)


def of(whose: Student | School) -> tuple[str, ...]:
    """The authorities of a student, or of all students of a school, that of the newest enrollment first.

    If no course says, every authority, so that no rule is left out. Queries: none with one authority; else
    one, and those of ``outlines.published``.
    """
    every = tuple(rulebook.current().of_authority)
    if len(every) == 1:
        return every
    theirs = {"student": whose} if isinstance(whose, Student) else {"student__school": whose}
    held = Enrolment.objects.filter(course_version__state=PUBLISHED, **theirs).order_by("-starts", "-pk")
    versions = dict.fromkeys(each.course_version for each in held.select_related("course_version__course"))
    led = (each for version in versions if version for each in leads_to(outlines.published(version)))
    return tuple(dict.fromkeys(each.authority for each in led)) or every
