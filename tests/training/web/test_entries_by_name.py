"""No page calls an entry by its id: people read a day and an aircraft, or what it is."""

from __future__ import annotations

import html
import re

import time_machine

from tests.training.web.test_translation import AT, Visitors, open_school, pages
from training import models

__all__ = ["open_school"]

UUID = re.compile(r"\b[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}\b", re.IGNORECASE)
#: Pages about the record document and the API, whose examples have ids.
ABOUT_IDS = ("help-page",)


def read(page: str) -> str:
    """What a person reads or hears: the text and the labels, without addresses and scripts."""
    heard = " ".join(re.findall(r'\s(?:title|alt|aria-label|placeholder|data-label)="([^"]*)"', page))
    bare = re.sub(r"<(script|style)\b.*?</\1>|<[^>]+>", " ", page, flags=re.DOTALL)
    return html.unescape(f"{bare} {heard}")


def test_no_page_of_the_demos_school_calls_an_entry_by_its_id(open_school: Visitors) -> None:
    ids = {
        row
        for model in models.ENTRIES
        for row in model.objects.values_list("entry_id", flat=True)
        if not UUID.search(row)
    }
    bare = re.compile(rf"(?<![\w-])(?:{'|'.join(map(re.escape, sorted(ids)))})(?![\w-])")
    assert bare.search("not counted: " + min(ids))
    left: list[str] = []
    with time_machine.travel(AT, tick=False):
        for name, listed in pages().items():
            for who, path in listed if name not in ABOUT_IDS else ():
                text = read(open_school[who].get(path).content.decode())
                for found in (*UUID.finditer(text), *bare.finditer(text)):
                    around = " ".join(text[max(0, found.start() - 50) : found.end() + 30].split())
                    left.append(f"{path} as {who or 'nobody'}: {around}")
    assert not left, "\n".join(left)
