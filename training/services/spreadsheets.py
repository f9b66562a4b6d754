"""Makes text safe for spreadsheets, which would run it as a formula."""

import re

#: Characters that begin a formula or are dropped before one; some programs read the wide forms alike.
_BEGINS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
#: Characters at which a program may end a cell, depending on its user's country.
_ENDS_A_CELL = re.compile(r"([;\t\r\n][ \u00a0]*)(?=[=+\-@＝＋－＠])")


def safe(cell: str) -> str:
    """The text with an apostrophe before whatever a spreadsheet would take for a formula.

    Some programs strip leading spaces first, so they are ignored. Text after a semicolon, a tab or the end of
    a line may become a cell of its own.

    >>> safe("=1+1"), safe("Sam Example"), safe("Sam;=1+1")
    ("'=1+1", 'Sam Example', "Sam;'=1+1")
    """
    apart = _ENDS_A_CELL.sub(r"\1'", cell)
    return f"'{apart}" if cell.lstrip(" \u00a0").startswith(_BEGINS) else apart
