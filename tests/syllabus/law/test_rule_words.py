"""``manage.py rule_words``: the plain words of the rules reach the translator."""

from __future__ import annotations

import io
import re

from django.core.management import call_command

from syllabus.law import rulebook


def test_every_plain_word_is_an_entry_once() -> None:
    out = io.StringIO()
    call_command("rule_words", stdout=out)
    entries = re.findall(r'^#: (.+)\nmsgid "(.+)"\nmsgstr ""$', out.getvalue(), re.MULTILINE)
    texts = [text for _, text in entries]
    asked = rulebook.current().requirements.values()
    assert len(texts) == len(set(texts)) > 40
    assert set(texts) == {text for each in asked for text in (each.plain, each.expiring) if text}
    places = next(place for place, text in entries if text == "Your medical certificate")
    assert places.split() == ["faa.first-solo.medical", "faa.private-practical-test.medical"]
