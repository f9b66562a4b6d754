"""``manage.py rule_words``: the rules' plain words as a gettext template for translators."""

import json
from collections.abc import Mapping
from typing import Any

from django.core.management.base import BaseCommand

from syllabus.engine.rules.rulebook import Rulebook
from syllabus.law import rulebook


class Command(BaseCommand):
    """Prints an entry for each text of the rule data that pages translate."""

    help = (
        "Prints the plain words of the rules, which makemessages does not find, as gettext entries. Add them "
        "to the others of a language: msgcat django.po rules.pot."
    )
    requires_system_checks: list[str] = []

    def handle(self, *_args: Any, **_options: Any) -> None:
        for text, places in words(rulebook.current()).items():
            # gettext writes a text as JSON does: in double quotes, with the same escapes
            told = json.dumps(text, ensure_ascii=False)
            self.stdout.write(f'#: {" ".join(places)}\nmsgid {told}\nmsgstr ""\n')


def words(rules: Rulebook) -> Mapping[str, list[str]]:
    """Each text, with its requirements."""
    found: dict[str, list[str]] = {}
    for requirement in rules.requirements.values():
        for text in filter(None, (requirement.plain, requirement.expiring)):
            found.setdefault(text, []).append(requirement.id)
    return found
