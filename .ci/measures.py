"""How the code reads, in figures: one line for each measure with its aim.

The sources are ``api``, ``syllabus`` and ``training`` without their migrations. ``measures.json`` holds the
best figures so far. A figure that is short of its aim and worse than that fails: an aim once met stays met,
and nothing else gets worse. ``--write`` puts today's figures into the file; a commit shows which changed.
"""

import argparse
import ast
import collections
import itertools
import json
import pathlib
import re
import statistics
import subprocess
import sys
from collections.abc import Iterator

ROOT = pathlib.Path(__file__).resolve().parents[1]
BEST = pathlib.Path(__file__).with_suffix(".json")
ROOMS = ("api", "syllabus", "training")
FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef)
BRANCHES = (
    ast.If,
    ast.For,
    ast.AsyncFor,
    ast.While,
    ast.IfExp,
    ast.ExceptHandler,
    ast.Assert,
    ast.comprehension,
)
SHARED_LINES = 6
LAW = re.compile(r"\bfaa\.|\b\d+ CFR")


def sources() -> dict[pathlib.Path, str]:
    return {
        path: path.read_text(encoding="utf-8")
        for room in ROOMS
        for path in sorted((ROOT / room).rglob("*.py"))
        if "migrations" not in path.parts
    }


def complexity(function: ast.AST) -> int:
    """One, and one more for each way the function may go (McCabe); what is defined inside it counts too."""
    ways = sum(isinstance(each, BRANCHES) for each in ast.walk(function))
    ways += sum(len(each.values) - 1 for each in ast.walk(function) if isinstance(each, ast.BoolOp))
    return 1 + ways + sum(len(each.cases) - 1 for each in ast.walk(function) if isinstance(each, ast.Match))


def texts(tree: ast.Module) -> Iterator[str]:
    """The texts of the program that are no docstrings."""
    statements = {id(each.value) for each in ast.walk(tree) if isinstance(each, ast.Expr)}
    for each in ast.walk(tree):
        if isinstance(each, ast.Constant) and isinstance(each.value, str) and id(each) not in statements:
            yield each.value


def shared(files: dict[pathlib.Path, str]) -> int:
    """Pairs of places that have so many lines in a row in common; a longer stretch is one pair."""
    seen: dict[tuple[str, ...], list[tuple[pathlib.Path, int]]] = collections.defaultdict(list)
    for path, text in files.items():
        lines = [line.strip() for line in text.splitlines()]
        told = [
            line
            for line in lines
            if line and not line.startswith(("#", "import ", "from ")) and len(line) > 1
        ]
        for at in range(len(told) - SHARED_LINES + 1):
            seen[tuple(told[at : at + SHARED_LINES])].append((path, at))
    found = {pair for places in seen.values() for pair in itertools.combinations(places, 2)}
    # The pair whose lines before are shared as well is the same stretch, one line further down.
    return sum(((one, at - 1), (two, to - 1)) not in found for (one, at), (two, to) in found)


def subjects() -> list[str]:
    done = subprocess.run(
        ["git", "log", "--format=%s"],  # noqa: S607
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    return done.stdout.splitlines()


def words(name: str, until: str) -> int:
    """The words of a document that come before a line in it, or all."""
    return len((ROOT / name).read_text(encoding="utf-8").split(f"\n{until}\n")[0].split())


def measures() -> list[tuple[str, float, str, float]]:
    files = sources()
    lengths = [len(text.splitlines()) for text in files.values()]
    trees = {path: ast.parse(text) for path, text in files.items()}
    functions = [each for tree in trees.values() for each in ast.walk(tree) if isinstance(each, FUNCTIONS)]
    long = [(each.end_lineno or 0) - each.lineno + 1 for each in functions]
    templates = [
        len(line)
        for room in ROOMS
        for path in (ROOT / room).rglob("*.html")
        for line in path.read_text(encoding="utf-8").splitlines()
    ]
    serializers = [
        path
        for path, text in files.items()
        if path.is_relative_to(ROOT / "api") and re.search(r"\(.*Serializer\):", text)
    ]
    law = [
        text
        for path, tree in trees.items()
        if "regulations" not in path.parts
        for text in texts(tree)
        if LAW.search(text)
    ]
    commits = subjects()
    return [
        ("lines of source", sum(lengths), "<=", 45_000),
        ("files of source", len(files), "", 0),
        ("lines of the median file", statistics.median(lengths), "<=", 90),
        ("lines of the longest file", max(lengths), "<=", 400),
        ("functions over 50 lines", sum(each > 50 for each in long), "<=", 10),
        ("functions over 75 lines", sum(each > 75 for each in long), "<=", 0),
        ("functions with complexity over 15", sum(complexity(each) > 15 for each in functions), "<=", 10),
        (
            "files that spell the field full_stop",
            sum(bool(re.search(r"\bfull_stop\b", text)) for text in files.values()),
            "<=",
            5,
        ),
        ("files with serializers", len(serializers), ">=", 5),
        ("schemas by hand", len(list((ROOT / "api" / "v1" / "schemas").glob("*.py"))), "<=", 0),
        ("template lines over 200 characters", sum(each > 200 for each in templates), "<=", 0),
        ("characters of the longest template line", max(templates), "<=", 200),
        (f"pairs of places that share {SHARED_LINES} lines", shared(files), "<=", 120),
        ("texts in Python that name the law", len(law), "<=", 0),
        ("words of README.md", words("README.md", "# For operators"), "<=", 1_800),
        ("words of DEVELOPERS.md", words("DEVELOPERS.md", "# For operators"), "<=", 3_500),
        ("lines of README.md", len((ROOT / "README.md").read_text("utf-8").splitlines()), "<=", 200),
        ("commit subjects over 72 characters", sum(len(each) > 72 for each in commits), "", 0),
    ]


def main() -> int:
    parser = argparse.ArgumentParser(description="Print the measures; fail where one got worse.")
    parser.add_argument("--write", action="store_true", help="keep the figures of today")
    write = parser.parse_args().write
    best: dict[str, float] = json.loads(BEST.read_text("utf-8"))
    today, short, worse = {}, 0, []
    for name, value, sign, aim in measures():
        today[name] = value
        if not sign:
            print(f"{name:42} {value:>10,.10g}")
            continue
        within, before = (value <= aim if sign == "<=" else value >= aim), best.get(name, value)
        lost = not within and (value > before if sign == "<=" else value < before)
        short += not within
        worse += [name] if lost else []
        told = f"WORSE than {before:,.10g}" if lost else "" if within else "short of its aim"
        print(f"{name:42} {value:>10,.10g}  {sign} {aim:<10,} {told}".rstrip())
    if write:
        BEST.write_text(json.dumps(today, indent=2) + "\n", "utf-8")
    print(f"{short} short of their aim" + (f"; worse than before: {', '.join(worse)}" if worse else ""))
    return 1 if worse and not write else 0


if __name__ == "__main__":
    sys.exit(main())
