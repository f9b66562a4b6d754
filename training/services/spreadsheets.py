"""Cells that a spreadsheet shows and does not work out."""

import re

#: What begins a formula, or is dropped before one; the wide forms are read alike by some programs.
_BEGINS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
#: Where a program that goes by its user's country ends a cell, though the file ends none there.
_ENDS_A_CELL = re.compile(r"([;\t\r\n][ \u00a0]*)(?=[=+\-@＝＋－＠])")


def safe(cell: str) -> str:
    """The text with an apostrophe before what a spreadsheet would take for a formula.

    Leading spaces are looked past: some programs cut them off before they look. So is what follows a
    semicolon, a tab or the end of a line: where those part cells, a piece of a text is a cell of its own.

    >>> safe("=1+1"), safe("Sam Example"), safe("Sam;=1+1")
    ("'=1+1", 'Sam Example', "Sam;'=1+1")
    """
    apart = _ENDS_A_CELL.sub(r"\1'", cell)
    return f"'{apart}" if cell.lstrip(" \u00a0").startswith(_BEGINS) else apart
