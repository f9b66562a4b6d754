"""Reads the first sheet of an XLSX in a process of its own, which has little memory and little time.

A file of 100 kB may unpack to gigabytes and hold whatever its sender likes, so nothing of it is unpacked
where other people's requests are served. ``read`` starts this module as a program; the file comes by its
standard input, and rows of text go to its standard output as JSON. It knows nothing of the server, nor its
secrets.
"""

import contextlib
import datetime as dt
import io
import json
import pathlib
import resource
import subprocess
import sys
import zipfile
from typing import Any

#: Bytes that all parts, and all but the sheets themselves, may unpack to.
MOST_UNPACKED, MOST_BESIDES = 24 * 1024 * 1024, 6 * 1024 * 1024
MOST_PARTS, MOST_TEXT = 500, 8_000_000
#: Of the process: bytes of memory, and seconds, of its own and on the clock.
MEMORY, SECONDS, WAITED = 512 * 1024 * 1024, 10, 30
_WAY_OUT = "Save it as CSV"
ROOT = pathlib.Path(__file__).resolve().parents[3]


class Broken(Exception):
    """It is no XLSX that can be read."""


class TooLarge(Exception):
    """It takes too much memory or time; the message says what to do."""


def read(data: bytes, rows: int, columns: int, cell: int) -> list[list[str]]:
    """The cells of the first sheet: at most so many rows and columns, and characters of a cell.

    Raises: Broken; TooLarge.
    """
    unpacked(data)
    try:
        done = subprocess.run(
            [sys.executable, "-m", __name__, str(rows), str(columns), str(cell)],
            input=data,
            capture_output=True,
            timeout=WAITED,
            cwd=ROOT,
            env={"OPENBLAS_NUM_THREADS": "1"},
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise TooLarge(f"takes too long to read. {_WAY_OUT}") from None
    if done.returncode == _BROKEN:
        raise Broken
    if done.returncode:
        raise TooLarge(
            "takes too much memory or time to read; leave out what is no flight, or save it as CSV"
        )
    found: list[list[str]] = json.loads(done.stdout)
    return found


def unpacked(data: bytes) -> None:
    """Add up what its parts say that they unpack to; more than that of a part is never unpacked.

    Raises: Broken; TooLarge.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = archive.infolist()
    except Exception as problem:
        raise Broken from problem
    besides = sum(each.file_size for each in parts if not each.filename.startswith("xl/worksheets/"))
    sizes = ((sum(each.file_size for each in parts), MOST_UNPACKED), (besides, MOST_BESIDES))
    for size, most in sizes:
        if size > most:
            raise TooLarge(
                f"is {size / 1024 / 1024:.0f} MB when unpacked; at most {most // 1024 // 1024} MB are read. "
                f"{_WAY_OUT}"
            )
    if len(parts) > MOST_PARTS:
        raise TooLarge(f"has {len(parts)} parts; at most {MOST_PARTS} are read. Save it as CSV")


# The process

_BROKEN = 3


def main(rows: str, columns: str, cell: str) -> int:
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    import openpyxl  # slow to import, and few processes need it

    try:
        book = openpyxl.load_workbook(
            io.BytesIO(sys.stdin.buffer.read()), read_only=True, data_only=False, keep_links=False
        )
        sheet = book.worksheets[0]
        sheet.reset_dimensions()  # what the file says of its own size need not be so
        found, text = [], 0
        for row in sheet.iter_rows(max_row=int(rows), max_col=int(columns)):
            found.append([_cell(each)[: int(cell)] for each in row])
            text += sum(map(len, found[-1]))
            if text > MOST_TEXT:
                return 1
    except MemoryError:
        return 1
    # The library tells what is wrong with a file by whatever its parts happen to raise.
    except Exception:
        return _BROKEN
    json.dump(found, sys.stdout)
    return 0


def _cell(cell: Any) -> str:
    """A cell's value as text in the one form."""
    value = cell.value
    if getattr(cell, "data_type", "") == "f":
        text = value if isinstance(value, str) else str(getattr(value, "text", "") or "")
        return text if text.startswith("=") else f"={text}"
    match value:
        case None:
            return ""
        case bool():
            return str(value).lower()
        case float():
            return _number(value)
        case dt.datetime() if value.time() == dt.time():
            return value.date().isoformat()
        case dt.datetime() | dt.time():
            return value.isoformat(timespec="seconds" if value.second else "minutes")
        case dt.timedelta():
            minutes, rest = divmod(value, dt.timedelta(minutes=1))
            return f"{value.total_seconds():g} s" if rest else f"{minutes // 60}:{minutes % 60:02d}"
    return str(value)


def _number(value: float) -> str:
    """A number with the fifteen digits that a spreadsheet shows: 0.1 + 0.2 is 0.3 there."""
    text = f"{value:.15g}"
    return f"{value:.0f}" if "e" in text and value == int(value) and abs(value) < 1e15 else text


if __name__ == "__main__":
    with contextlib.suppress(BrokenPipeError):
        sys.exit(main(*sys.argv[1:]))
