"""Rules about instructors: ``instructing/<authority>.yaml``.

They are no requirements of a student's milestone, so they are not in the rulebook.
"""

from __future__ import annotations

from syllabus.engine.record.vocabulary import CATEGORIES, CLASSES
from syllabus.engine.rules.kinds.registry import Param, table, time, word, words
from syllabus.engine.rules.rulebook import Rules
from syllabus.law import sources
from syllabus.law.dated import Shape

HOURS_IN_24, CLASSES_OF = "hours-in-24", "classes"
SHAPE = Shape(
    "instructing",
    {
        "not-oneself": {},
        "authorized": {},
        "privileges": {},
        "recent-experience": {},
        "category-and-class": {},
        # for each category that has classes
        CLASSES_OF: {"classes": Param(table(word(*CATEGORIES), words(*CLASSES)), required=True)},
        "instrument-training": {},
        # the most flight training within a stretch of clock time, both in microseconds
        HOURS_IN_24: {"most": Param(time, required=True), "within": Param(time, required=True)},
        "ground-instructor": {},
        "training-only": {},
    },
)


@sources.read_once
def current() -> dict[str, Rules]:
    """The project's rules by authority, read once per process; every authority with milestones has them."""
    return SHAPE.load()


def classes_of(category: str) -> tuple[str, ...]:
    """The classes of a category today, under any authority; empty if it has none."""
    newest = (rules[CLASSES_OF][-1].params["classes"] for rules in current().values())
    return tuple(dict.fromkeys(klass for classes in newest for klass in classes.get(category, ())))
