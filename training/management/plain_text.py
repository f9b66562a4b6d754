"""Text in columns of a terminal: how wide it is, and how it breaks into lines."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Sequence

#: What stands for a sign where the output's encoding lacks it.
IN_ASCII = str.maketrans(
    {
        "✓": "+",
        "✗": "x",
        "█": "#",
        "░": ".",
        "─": "-",
        "…": "...",
        "·": ";",
        "–": "-",
        "—": "-",
        "→": "->",
        "°": " deg",
    }
)


#: A space at which no line breaks.
GLUE = "\u00a0"


def clean(text: str) -> str:
    r"""Text without characters that move the cursor, ring or turn the line round; they show as ``\x1b``."""
    return "".join(
        ch.encode("unicode_escape").decode() if unicodedata.category(ch) in _INVISIBLE else ch for ch in text
    )


_INVISIBLE = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


def encodable(text: str, encoding: str | None) -> str:
    """``text`` as far as ``encoding`` can write it: signs in ASCII, and anything else as an escape."""
    try:
        text.encode(encoding or "ascii")
        return text
    except (UnicodeEncodeError, LookupError):
        plain = text.translate(IN_ASCII)
        return plain.encode(encoding or "ascii", "backslashreplace").decode(encoding or "ascii")


def cells(text: str) -> int:
    """Columns a terminal gives to ``text``: two for a wide character, none for an accent that combines.

    >>> cells("abc"), cells("飛行"), cells("e\u0301")
    (3, 4, 1)
    """
    if text.isascii():
        return len(text)
    return sum(
        0 if unicodedata.combining(ch) else 2 if unicodedata.east_asian_width(ch) in "WF" else 1
        for ch in text
    )


def padded(text: str, width: int) -> str:
    """``text`` with spaces up to ``width`` columns; longer text stays, with one space after it."""
    return text + " " * max(width - cells(text), 1 if text else 0)


def wrapped(text: str, width: int, *, rest: str = "") -> list[str]:
    """Lines of at most ``width`` columns; ``rest`` starts every line but the first."""
    return list(filled(text, width, rest=rest))


def filled(text: str, width: int, *, first: str = "", rest: str = "") -> Iterator[str]:
    """Lines of at most ``width`` columns; a word longer than a line is cut.

    Leading spaces of ``text`` count as part of ``first``; at a no-break space no line breaks.
    """
    body = text.lstrip(" ")
    line, used = first + text[: len(text) - len(body)], False
    for word in filter(None, re.split("[ \n]+", body)):
        while word:
            room = width - cells(line) - (1 if used else 0)
            if cells(word) <= room:
                line += (" " if used else "") + word
                used, word = True, ""
            elif used:
                yield line.replace(GLUE, " ")
                line, used = rest, False
            else:
                head = _head(word, max(room, 2))
                yield (line + head).replace(GLUE, " ")
                line, word = rest, word[len(head) :]
    if used or not body:
        yield line.replace(GLUE, " ")


def _head(word: str, room: int) -> str:
    """As much of a word as fits, one character at least."""
    used = 0
    for index, ch in enumerate(word):
        used += cells(ch)
        if used > room:
            return word[: max(index, 1)]
    return word


def joined(parts: Sequence[str]) -> str:
    """``a, b and c``."""
    return f"{', '.join(parts[:-1])} and {parts[-1]}" if len(parts) > 1 else "".join(parts)
