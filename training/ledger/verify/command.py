"""Checks an exported record offline: ``python -m training.ledger.verify FILE``.

Runs on a machine without Django and without this project's database. Needs Python 3.11 and the package
``cryptography``.
"""

import argparse
import pathlib
import sys
from collections.abc import Sequence

from training.ledger.core import sealed
from training.ledger.verify import handover
from training.ledger.verify.exported import check, report

WHOLE, BROKEN, UNCHECKED = 0, 1, 2
MOST_BYTES = 512 * 1024 * 1024


def read_bytes(path: pathlib.Path) -> bytes:
    """A file's bytes; ``ValueError`` names what is wrong with it."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise ValueError(f"{path}: is larger than {MOST_BYTES // 1024 // 1024} MB")
        return path.read_bytes()
    except OSError as fault:
        raise ValueError(f"{path}: {fault.strerror}") from None


def checkpoint_in(text: str) -> str:
    """The checkpoint (compact JWS) in a file: the token itself, or that of an export. Else ``ValueError``."""
    text = text.strip()
    token = sealed.strict_json(text).get("checkpoint") if text.startswith("{") else text.strip('"')
    if not isinstance(token, str) or token.count(".") != 2:
        raise ValueError("holds no checkpoint: neither a compact JWS nor an export of a ledger")
    return token


def read_file(path: pathlib.Path) -> str:
    """A file's text; ``ValueError`` names what is wrong with it."""
    try:
        return read_bytes(path).decode()
    except UnicodeDecodeError:
        raise ValueError(f"{path}: is not UTF-8 text") from None


def main(arguments: Sequence[str] | None = None) -> int:
    """The command line. Returns 0 where the file is whole, 1 where not, 2 where it cannot be checked."""
    parser = argparse.ArgumentParser(prog="python -m training.ledger.verify", description=__doc__)
    parser.add_argument(
        "file", type=pathlib.Path, help="the exported record (JSON), or a whole hand-over (ZIP)"
    )
    parser.add_argument("--key", action="append", default=[], metavar="ID", help="a key id that you trust")
    parser.add_argument(
        "--against", type=pathlib.Path, metavar="FILE", help="a checkpoint or export that you held before"
    )
    asked = parser.parse_args(arguments)
    try:
        raw = read_bytes(asked.file)
        packed = raw.startswith(b"PK") or raw[-22:-18] == b"PK\x05\x06"  # a ZIP's begin, or its end
        text = "" if packed else read_file(asked.file)
        against = None
        if asked.against:
            try:
                against = checkpoint_in(read_file(asked.against))
            except ValueError as fault:
                raise ValueError(f"--against {asked.against}: {fault}") from None
    except ValueError as fault:
        print(f"Cannot be checked: {fault}", file=sys.stderr)
        return UNCHECKED
    try:
        if packed:
            found = handover.check(raw, trusted=asked.key, against=against)
            print("\n".join(handover.report(found, asked.key)))
            return WHOLE if found.whole else BROKEN
        try:
            document = sealed.strict_json(text)
        except ValueError as fault:
            print(f"ERROR file: is not JSON as an export is written: {fault}")
            return BROKEN
        verdict = check(document, trusted=asked.key, against=against)
    except ModuleNotFoundError as fault:
        print(
            f"Cannot be checked: the Python package {fault.name} is missing. "
            "Install it: python3 -m pip install cryptography",
            file=sys.stderr,
        )
        return UNCHECKED
    print("\n".join(report(verdict, asked.key)))
    return WHOLE if verdict.whole else BROKEN
