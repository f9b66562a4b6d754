"""Which lines of the program the tests go through, where ``TEST_COVERAGE`` names a folder for the answer."""

import json
import os
import pathlib
import sys

SOURCE = ["api", "syllabus", "training"]
OMITTED = ["*/migrations/*"]


class Coverage:
    """Measures this process from now on; modules that are imported already are not seen."""

    def __init__(self, folder: str) -> None:
        import slipcover

        early = [name for name in sys.modules if name.split(".")[0] in SOURCE]
        assert not early, f"Imported before the coverage is measured: {early}"
        self.folder = pathlib.Path(folder)
        self.lines = slipcover.Slipcover(source=SOURCE, omit=OMITTED, immediate=True)
        slipcover.ImportManager(self.lines, slipcover.FileMatcher(SOURCE, OMITTED)).__enter__()

    def save(self) -> None:
        """Leave a file for ``python -m slipcover --merge``."""
        self.folder.mkdir(parents=True, exist_ok=True)
        (self.folder / f"{os.getpid()}.json").write_text(json.dumps(self.lines.get_coverage()))


def asked() -> Coverage | None:
    """What measures this process, or None where nobody asked for it. SQLite's leg goes through no others."""
    folder = os.environ.get("TEST_COVERAGE") if os.environ.get("TEST_LEG") != "sqlite" else None
    return Coverage(folder) if folder else None
