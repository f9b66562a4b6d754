"""The file of a hand-over: a ZIP of stored files in one form alone: no byte of it can be changed unseen.

Whoever has any ZIP program opens it. Written are names in order, nothing compressed, no comment, no date but
the earliest there is: the same files give the same bytes on every machine. Reading writes the files found
anew and holds the two against each other; what differs is named by the file and the part of it. The standard
library's zipfile is not used: what it writes around the files depends on its version, and what it overlooks
when reading could say one thing to us and another to the next program.
"""

import re
import struct
import zlib
from collections.abc import Iterator, Mapping

from training.ledger.core.faults import Error

LOCAL, CENTRAL, END = b"PK\x03\x04", b"PK\x01\x02", b"PK\x05\x06"
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._@-]*(/[A-Za-z0-9][A-Za-z0-9._@-]*)*")
_LOCAL = struct.Struct("<4sHHHHHIIIHH")
_CENTRAL = struct.Struct("<4sHHHHHHIIIHHHHHII")
_END = struct.Struct("<4sHHHHIIH")
_VERSION, _TIME, _DATE = 20, 0, 0x21  # 1980-01-01: the first day that a ZIP can say
MOST_FILES = 60_000


def write(files: Mapping[str, bytes]) -> bytes:
    """The package. Raises: ValueError for a name that is no plain path, or too many files."""
    return b"".join(piece for _, _, piece in _pieces(files))


def _pieces(files: Mapping[str, bytes]) -> Iterator[tuple[str, str, bytes]]:
    """The bytes in order, each with its file (empty: the directory at the end) and the part of it."""
    if len(files) > MOST_FILES:
        raise ValueError(f"{len(files)} files are too many for one package: at most {MOST_FILES}")
    directory, offset = b"", 0
    for name in sorted(files):
        if not _NAME.fullmatch(name) or ".." in name or len(name) > 200:
            raise ValueError(f"{name!r} is not a name for a file of a package")
        data, called = files[name], name.encode("ascii")
        common = (0, 0, _TIME, _DATE, zlib.crc32(data), len(data), len(data), len(called), 0)
        header = _LOCAL.pack(LOCAL, _VERSION, *common) + called
        directory += _CENTRAL.pack(CENTRAL, _VERSION, _VERSION, *common, 0, 0, 0, 0, offset) + called
        offset += len(header) + len(data)
        yield name, "header", header
        yield name, "content", data
    yield "", "directory", directory
    yield "", "end", _END.pack(END, 0, 0, len(files), len(files), len(directory), offset, 0)


def read(raw: bytes) -> tuple[dict[str, bytes], list[Error]]:
    """The files as they stand, and what about the package itself is not as it is written.

    A file's own bytes are for the signed list of contents to judge; a checksum that no longer fits them is
    told only where nothing else is wrong with that file (``layout_faults``).
    """
    files: dict[str, bytes] = {}
    at, last = 0, ""
    while raw[at : at + 4] == LOCAL:
        place = f"file {len(files) + 1} (byte {at})"
        if len(raw) < at + _LOCAL.size:
            return files, [Error(place, "its header is cut off")]
        *_, size, _, length, _ = _LOCAL.unpack_from(raw, at)
        begins = at + _LOCAL.size + length
        called = raw[at + _LOCAL.size : begins]
        if len(files) >= MOST_FILES or not _NAME.fullmatch(name := called.decode("latin-1")) or ".." in name:
            return files, [Error(place, "its name or header was changed")]
        if name <= last:
            says = (
                "occurs twice" if name in files else f"comes after {last}: the order was changed, or a name"
            )
            return files, [Error(f"byte {at} ({name})", says)]
        if begins + size > len(raw):
            return files, [Error(name, "is cut off, or its size was changed")]
        files[name], at, last = raw[begins : begins + size], begins + size, name
    if not files:
        return files, [Error("file", "is not a hand-over: it does not begin as a ZIP does")]
    if raw[at : at + 4] != CENTRAL:
        return files, [Error(f"byte {at}", f"what follows {last} was changed or cut off")]
    return files, []


def layout_faults(raw: bytes, files: Mapping[str, bytes]) -> Iterator[Error]:
    """Every part of the package that is not what would be written for these files."""
    at = 0
    for name, part, wanted in _pieces(files):
        found = raw[at : at + len(wanted)]
        if found != wanted:
            differs = next(
                (n for n, (one, other) in enumerate(zip(found, wanted, strict=False)) if one != other),
                len(found),
            )
            place = name or "the directory at the end"
            # It holds a checksum of each file, so that a changed file shows here as well.
            says = "does not fit the files" if part == "directory" else f"its {part} was changed"
            yield Error(f"{place} (byte {at + differs})", says)
        at += len(wanted)
    if len(raw) > at:
        yield Error(f"byte {at}", f"has more bytes after the end: {len(raw) - at}")
