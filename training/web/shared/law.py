"""The template tag by which a page cites a rule, so that no paragraph is written into a template."""

from __future__ import annotations

from django.template import Library

from syllabus.law import auditing, instructing

register = Library()
_RULES = {"auditing": auditing.current, "instructing": instructing.current}


@register.simple_tag
def cite(rules: str, name: str) -> str:
    """The section of the newest version of a rule; ``rules`` is the folder of its data."""
    return _RULES[rules]()[name][-1].cite.section
