"""Pages to print and keep, as tagged PDF (PDF/UA-1): the same data gives the same bytes.

A template beside this module reads its data as JSON from the inputs of the document; no text of a person is
ever markup. Fonts are those inside the wheel alone, so that another machine gives the same bytes. A character
that they do not have stands as its number (``[U+674E]``): the record document has it as it was typed.
"""

import datetime as dt
import functools
import json
import os
import re
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import typst

HOME = Path(__file__).parent
MOST_TRIES = 100
#: Bytes of address space for a process of its own, and the seconds it may take.
MEMORY = 768 << 20
SECONDS = 60
#: How the compiler tells a text that the fonts cannot show; the last character of scripts they know.
_UNSHOWN = re.compile(r'the text `"(.+?)"` could not be displayed')
_SURE = 0x2BFF
TEMPLATES = ("record", "endorsements", "lesson", "audit", "sticker")


class TooLarge(Exception):
    """The document needs more memory than a process of its own may have."""


@functools.cache
def _fonts() -> typst.Fonts:
    return typst.Fonts(include_system_fonts=False)


def make(template: str, data: Mapping[str, Any], *, at: dt.datetime) -> bytes:
    """The PDF of a template; ``at`` is the instant that it says it was made at. ``data``: JSON values.

    Raises: ValueError for a template there is none of.
    """
    if template not in TEMPLATES:
        raise ValueError(f"no template is called {template!r}; use one of {', '.join(TEMPLATES)}")
    text = json.dumps(data, ensure_ascii=False, sort_keys=True)
    for _ in range(MOST_TRIES):
        try:
            return _compiled(template, text, at)
        except typst.TypstError as fault:
            found = _UNSHOWN.search(str(fault))
            if found is None:
                raise
            unshown = set(found[1]) | {each for each in text if ord(each) > _SURE and not each.isascii()}
            text = "".join(_number(each) if each in unshown else each for each in text)
    raise ValueError(f"{template}: more than {MOST_TRIES} kinds of characters cannot be shown")


def make_apart(template: str, data: Mapping[str, Any], *, at: dt.datetime) -> bytes:
    """As ``make``, in a process of its own with a limit to its memory, for what may be large.

    Raises: TooLarge.
    """
    asked = json.dumps({"template": template, "data": data, "at": at.isoformat()}).encode()
    # Fewer arenas: the address space is what is limited, and each thread would reserve one.
    alone = {**os.environ, "MALLOC_ARENA_MAX": "2", "RAYON_NUM_THREADS": "2"}
    done = subprocess.run(
        [sys.executable, "-m", "training.pdf"],
        input=asked,
        capture_output=True,
        cwd=HOME.parents[1],
        env=alone,
        timeout=SECONDS,
        check=False,
    )
    if done.returncode:
        raise TooLarge(f"the PDF {template} was not made: {done.stderr.decode(errors='replace')[-500:]}")
    return done.stdout


def _compiled(template: str, text: str, at: dt.datetime) -> bytes:
    # One for each: a compiler keeps its inputs, which are of one student.
    made = typst.Compiler(root=str(HOME), font_paths=_fonts()).compile(
        input=str(HOME / f"{template}.typ"),
        format="pdf",
        sys_inputs={"data": text},
        pdf_standards=["ua-1"],
        timestamp=int(at.timestamp()),
    )
    assert isinstance(made, bytes)
    return made


def _number(character: str) -> str:
    return f"[U+{ord(character):04X}]"
