"""Cells that a spreadsheet shows and does not work out."""

from __future__ import annotations

#: What begins a formula, or is dropped before one; the wide forms are read alike by some programs.
_BEGINS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def safe(cell: str) -> str:
    """The text with an apostrophe before what a spreadsheet would take for a formula.

    Leading spaces are looked past: some programs cut them off before they look.

    >>> safe("=1+1"), safe("Sam Example")
    ("'=1+1", 'Sam Example')
    """
    return f"'{cell}" if cell.lstrip(" \u00a0").startswith(_BEGINS) else cell
