"""The template tag that cites a rule, so that no template contains a paragraph number."""

from django.template import Library

from syllabus.law import auditing, instructing
from training.models import School, Student
from training.reports import authorities

register = Library()
_RULES = {"auditing": auditing.current, "instructing": instructing.current}


@register.simple_tag
def cite(rules: str, name: str, whose: Student | School) -> str:
    """The section of the newest version of a rule; ``rules`` is the folder of its data."""
    return _RULES[rules]()[authorities.of(whose)[0]][name][-1].cite.section
