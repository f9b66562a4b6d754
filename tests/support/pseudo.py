"""A language in which every text that gettext gives stands in «brackets»: what is outside is no translation.

``outside`` reads a page as it was answered. ``fixed`` reads a template, ``literals`` Python and ``scripted``
a script as they are written, with every branch that no page happens to show.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from contextlib import contextmanager
from html.parser import HTMLParser
from typing import Any

from django.template.base import Lexer, TokenType
from django.utils import translation
from django.utils.translation import trans_real

OPENS, CLOSES = "«", "»"
CONTEXT = "\x04"
#: What of an element is read by a person; a placeholder is an example.
ATTRIBUTES = ("aria-label", "title", "alt", "data-label", "data-blank")
#: What is no language: programs, codes, and a citation as the regulation writes it.
UNREAD = ("script", "style", "code", "cite")
VOID = (
    "meta",
    "link",
    "input",
    "br",
    "img",
    "hr",
    "wbr",
    "rect",
    "line",
    "polyline",
    "polygon",
    "path",
    "use",
)
LETTERS = re.compile(r"[^\W\d_]{2}")
VALUE = "\ufffc"


class Brackets(trans_real.DjangoTranslation):
    """Every message of every catalogue, in brackets."""

    def __init__(self) -> None:
        super().__init__("en")

    def to_language(self) -> str:
        return "qps"

    def gettext(self, message: str) -> str:
        return f"{OPENS}{message.rpartition(CONTEXT)[2]}{CLOSES}"

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return self.gettext(msgid1 if n == 1 else msgid2)


@contextmanager
def spoken() -> Iterator[None]:
    """While it holds, English is the language of brackets, for every request too."""
    known = trans_real._translations  # type: ignore[attr-defined]
    before = known.get("en")
    known["en"] = Brackets()
    try:
        with translation.override("en"):
            yield
    finally:
        known.pop("en")
        if before is not None:
            known["en"] = before


class _Reader(HTMLParser):
    """Text and attributes of a page in the order in which they stand."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self._open: list[tuple[str, bool]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.found += [given[each] or "" for each in ATTRIBUTES if given.get(each)]
        if tag not in VOID:
            hidden = (
                tag in UNREAD or "cite" in (given.get("class") or "").split() or given.get("class") == "qr"
            )
            self._open.append((tag, hidden))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [value or "" for key, value in attrs if key in ATTRIBUTES]

    def handle_endtag(self, tag: str) -> None:
        while self._open and self._open.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        if not any(hidden for _, hidden in self._open):
            self.found.append(data)


def outside(page: str) -> list[str]:
    """The texts of a page that no brackets enclose, each as one run of words."""
    reader = _Reader()
    reader.feed(page)
    runs, run, depth = [], "", 0
    for text in reader.found:
        for letter in text:
            if letter == OPENS:
                depth += 1
            elif letter == CLOSES:
                depth -= 1
            elif not depth:
                run += letter
                continue
            runs.append(run)
            run = ""
        runs.append(run)
        run = ""
    assert depth == 0, "a bracket that does not close"
    return [" ".join(each.split()) for each in runs if LETTERS.search(each)]


def fixed(template: str) -> list[str]:
    """The texts that a template says itself, outside of what is marked for translation."""
    kept, marked = "", False
    for token in Lexer(template).tokenize():
        if token.token_type == TokenType.BLOCK:
            tag = token.contents.split()[0]
            if tag in ("blocktranslate", "endblocktranslate"):
                marked = tag == "blocktranslate"
            kept += VALUE
        elif token.token_type == TokenType.VAR:
            kept += VALUE
        elif token.token_type == TokenType.TEXT and not marked:
            kept += token.contents
    reader = _Reader()
    reader.feed(kept)
    found = [" ".join(each.replace(VALUE, " ").split()) for each in reader.found]
    found += re.findall(r'(?:default|default_if_none|pluralize|yesno):"[^"]*[a-zA-Z]{2}[^"]*"', template)
    return [each for each in found if LETTERS.search(each)]


#: Calls whose texts are translated, or are read by nobody but whoever runs the server.
MARKED = ("_", "gettext", "gettext_lazy", "gettext_noop", "ngettext", "ngettext_lazy", "pgettext")
UNSEEN = (
    "Http404", "ImproperlyConfigured", "ValueError", "_open", "exception", "log", "open_record", "student",
)  # fmt: skip
TWO_WORDS = re.compile(r"[A-Za-z]{2,},? [A-Za-z]{2,}")


def literals(source: str) -> list[str]:
    """The texts of two words or more in a Python file that are neither marked, nor comments, nor unseen."""

    def walk(node: ast.AST) -> Iterator[str]:
        for each in ast.iter_child_nodes(node):
            if isinstance(each, ast.Call) and _name(each.func) in (*MARKED, *UNSEEN):
                continue
            if isinstance(each, ast.Expr) and isinstance(each.value, ast.Constant):
                continue  # a docstring
            text = each.value if isinstance(each, ast.Constant) else None
            if isinstance(text, str) and TWO_WORDS.search(text) and not text.startswith("<!--"):
                yield text
            yield from walk(each)

    return list(walk(ast.parse(source)))


def _name(called: ast.expr) -> str:
    return called.id if isinstance(called, ast.Name) else getattr(called, "attr", "")


def scripted(source: str) -> list[str]:
    """The texts of two words or more in a script that do not go through gettext."""
    source = re.sub(r"/\*.*?\*/", "", source, flags=re.DOTALL)
    source = re.sub(r"(^|\s)//.*", "", source)
    kept = ""
    while found := re.search(r"\bn?gettext\(", source):
        kept += source[: found.start()]
        at, depth, quoted = found.end(), 1, ""
        while depth:
            letter = source[at]
            if quoted:
                at += letter == "\\"
                quoted = "" if letter == quoted else quoted
            elif letter in "\"'`":
                quoted = letter
            else:
                depth += {"(": 1, ")": -1}.get(letter, 0)
            at += 1
        source = source[at:]
    texts = re.findall(r"\"(?:[^\"\\\n]|\\.)*\"|`(?:[^`\\]|\\.)*`", kept + source)
    return [each for each in texts if TWO_WORDS.search(re.sub(r"\$\{[^}]*\}", "", each))]


def leaves(value: Any) -> Iterator[str]:
    """Every text in a JSON value."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for each in value.values():
            yield from leaves(each)
    elif isinstance(value, list | tuple | set | frozenset):
        for each in value:
            yield from leaves(each)
