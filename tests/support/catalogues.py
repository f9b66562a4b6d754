"""A catalogue of translations for a test: compiled here, for which no tool of gettext is needed."""

from __future__ import annotations

import pathlib
import struct
from collections.abc import Mapping


def compiled(folder: pathlib.Path, language: str, texts: Mapping[str, str]) -> pathlib.Path:
    """Write ``<folder>/<language>/LC_MESSAGES/django.mo``; gives the folder, for ``LOCALE_PATHS``.

    The form is that of GNU gettext: a head of seven numbers, then for each text its length and place, the
    originals in order, then the translations.
    """
    about = (
        f"Language: {language}\nContent-Type: text/plain; charset=UTF-8\n"
        "Plural-Forms: nplurals=2; plural=(n != 1);\n"
    )
    pairs = sorted((key.encode(), text.encode()) for key, text in {"": about, **texts}.items())
    begins = 7 * 4 + 16 * len(pairs)
    tables, body = [b"", b""], b""
    for which in (0, 1):
        for pair in pairs:
            tables[which] += struct.pack("<II", len(pair[which]), begins + len(body))
            body += pair[which] + b"\0"
    first = 7 * 4
    whole = struct.pack("<7I", 0x950412DE, 0, len(pairs), first, first + 8 * len(pairs), 0, begins)
    place = folder / language / "LC_MESSAGES"
    place.mkdir(parents=True)
    (place / "django.mo").write_bytes(whole + tables[0] + tables[1] + body)
    return folder
