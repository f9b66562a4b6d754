"""Text for a terminal: without what would steer it, and in the encoding that it has."""

import unicodedata
from collections.abc import Sequence

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


def joined(parts: Sequence[str]) -> str:
    """``a, b and c``."""
    return f"{', '.join(parts[:-1])} and {parts[-1]}" if len(parts) > 1 else "".join(parts)
