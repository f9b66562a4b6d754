"""Rule data as files: YAML with line numbers, read strictly, every error with file and line.

The ``Builder`` here reads the milestones, the endorsements, the models and the courses. Other rules only
declare their ``Shape``.
"""

import difflib
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import count
from pathlib import Path
from typing import Any

import yaml

from syllabus.engine.errors import Error, RuleDataError
from syllabus.engine.rules.kinds.registry import Param
from syllabus.engine.rules.rulebook import VERIFIED, Citation, Rules, RuleVersion
from syllabus.law import sources

ONE_DAY = timedelta(days=1)


class Lined(dict[str, Any]):
    """A mapping that knows its file, and the line of each of its keys."""

    def __init__(self, file: str, line: int):
        super().__init__()
        self.file, self.line = file, line
        self.lines: dict[str, int] = {}

    def place(self, key: str | None = None) -> str:
        return f"{self.file}:{self.lines.get(key, self.line) if key else self.line}"


#: The most values in one file, counting an alias each time: a short file of aliases can expand enormously.
MOST_VALUES = 50_000


class TooMany(Exception):
    """More than ``MOST_VALUES``; the first argument is the line."""


class PlainLoader(yaml.SafeLoader):
    """Counts values before they are put together, which takes longer than to read their text."""

    values = 0

    def compose_node(self, parent: Any, index: Any) -> Any:
        self.values += 1
        if self.values > MOST_VALUES:
            raise TooMany(self.line + 1)
        return super().compose_node(parent, index)


Loader = PlainLoader | yaml.CSafeLoader
_PLAIN = {f"tag:yaml.org,2002:{each}" for each in ("str", "int", "float", "bool", "null", "timestamp")}


def _built(node: yaml.Node, file: str, errors: list[Error], loader: Loader, values: Iterator[int]) -> Any:
    line = node.start_mark.line + 1
    if next(values) > MOST_VALUES:
        raise TooMany(line)
    if isinstance(node, yaml.MappingNode):
        made = Lined(file, line)
        for key_node, value_node in node.value:
            at = key_node.start_mark.line + 1
            key = str(key_node.value)
            if not isinstance(key_node, yaml.ScalarNode):
                errors.append(Error(f"{file}:{at}", "a key is a word, not a list or a mapping"))
            elif key in made:
                errors.append(Error(f"{file}:{at}", f"{key!r} occurs twice; keep one"))
            made[key] = _built(value_node, file, errors, loader, values)
            made.lines[key] = at
        return made
    if isinstance(node, yaml.SequenceNode):
        return [_built(each, file, errors, loader, values) for each in node.value]
    if node.tag not in _PLAIN:
        errors.append(Error(f"{file}:{line}", f"the tag {node.tag!r} is not supported; remove it"))
        return None
    try:
        return loader.construct_object(node)
    except (ValueError, LookupError, AttributeError):  # 2026-02-30, or a tag that does not fit its value
        what = node.tag.rpartition(":")[2].replace("timestamp", "calendar date")
        errors.append(Error(f"{file}:{line}", f"{node.value[:80]!r} is not a {what}"))
        return None


def read_text(
    text: str,
    file: str,
    starts: str = "regulation data starts with 'milestone:'",
    loads: type[Loader] = PlainLoader,
) -> Lined:
    """One file's data with its line numbers; ``starts`` says how such a file begins.

    Text from strangers is loaded by the Python loader, where endless nesting is an error and does not kill
    the process.

    Raises: RuleDataError.
    """
    errors: list[Error] = []
    made: Any = None
    try:
        loader = loads(text)
        try:
            if node := loader.get_single_node():
                made = _built(node, file, errors, loader, count())
        finally:
            loader.dispose()
    except yaml.MarkedYAMLError as problem:
        mark = problem.problem_mark or problem.context_mark
        line = mark.line + 1 if mark else 1
        raise RuleDataError.at(f"{file}:{line}", f"not YAML: {problem.problem}") from None
    except yaml.reader.ReaderError as problem:
        line = text.count("\n", 0, problem.position) + 1
        raise RuleDataError.at(f"{file}:{line}", "not YAML: contains a control character") from None
    except TooMany as problem:
        raise RuleDataError.at(
            f"{file}:{problem.args[0]}", f"more than {MOST_VALUES:,} values; write less"
        ) from None
    except RecursionError:
        raise RuleDataError.at(f"{file}:1", "not readable YAML: it nests without end") from None
    if not isinstance(made, Lined):
        what = "the file is empty" if made is None and not errors else "the file is not a mapping"
        errors.append(Error(f"{file}:1", f"{what}; {starts}"))
    if errors:
        raise RuleDataError(errors)
    return made


def read_files(
    homes: Iterable[Path], layout: str = "<authority>.yaml", starts: str = "it starts with 'authority:'"
) -> dict[str, Lined]:
    """The data of every YAML file of some folders, by its path below one of them.

    ``layout`` says where such files belong: a file elsewhere is an error, so that none is ignored.

    Raises: RuleDataError.
    """
    data: dict[str, Lined] = {}
    errors: list[Error] = []
    for home in homes:
        for path in sorted(each for each in home.rglob("*") if each.suffix in (".yaml", ".yml")):
            file = path.relative_to(home).as_posix()
            if path.suffix != ".yaml" or file.count("/") != layout.count("/"):
                errors.append(Error(file, f"is not read; rule data belongs in {layout}"))
                continue
            if file in data:
                errors.append(Error(file, "is in two folders; keep one"))
                continue
            try:
                data[file] = read_text(path.read_text(encoding="utf-8"), file, starts, yaml.CSafeLoader)
            except RuleDataError as problem:
                errors.extend(problem.errors)
            except UnicodeDecodeError as problem:
                line = problem.object.count(b"\n", 0, problem.start) + 1
                errors.append(Error(f"{file}:{line}", "not UTF-8 text"))
            except OSError as problem:
                errors.append(Error(file, f"cannot be read: {problem.strerror}"))
    if errors:
        raise RuleDataError(errors)
    if not data:
        raise RuleDataError.at("", f"contains no rule data; {layout} is expected")
    return data


_VERSION = ("from", "until", "says", "cite", "verified", "note")
#: The name of each type of value, for messages.
_WANTED = {
    str: "text; put it in quotes",
    int: "a whole number",
    date: "a date; write it like 2026-11-24, without quotes",
    list: "a list",
    dict: "a mapping",
}


def shown(value: Any) -> str:
    """A value as the file has it, for a message."""
    if isinstance(value, Lined):
        return "a mapping"
    if isinstance(value, list):
        return "a list"
    if value is None:
        return "nothing"
    return str(value) if isinstance(value, date) else repr(value)


class Builder:
    """Reads values of one type each from data with line numbers, and collects the errors."""

    def __init__(self) -> None:
        self.errors: list[Error] = []

    def error(self, place: str, message: str) -> None:
        error = Error(place, message)
        if error not in self.errors:  # keys shared by all versions are read for each of them
            self.errors.append(error)

    def stop(self) -> None:
        """Raises: RuleDataError if there are errors."""
        if self.errors:
            raise RuleDataError(self.errors)

    def field(self, at: Lined, key: str, kind: type, default: Any = None, *, optional: bool = False) -> Any:
        """The value at ``key``, or ``default`` after an error: missing, blank, or of another type."""
        if key not in at:
            if not optional:
                self.error(at.place(), f"{key!r} is missing")
            return default
        value = at[key]
        # Python's True is an int, and a datetime is a date
        fits = isinstance(value, kind) and not isinstance(value, bool | datetime)
        if not fits:
            self.error(at.place(key), f"{key}: {shown(value)} is not {_WANTED[kind]}")
            return default
        if isinstance(value, str) and not value.strip():
            self.error(at.place(key), f"{key} is blank")
            return default
        return value

    def known(self, at: Lined, keys: tuple[str, ...]) -> None:
        for key in at:
            if key not in keys:
                close = difflib.get_close_matches(key, keys, 1)
                hint = f"did you mean {close[0]!r}?" if close else f"use one of {', '.join(keys)}"
                self.error(at.place(key), f"unknown key {key!r}; {hint}")

    def mappings(self, at: Lined, key: str, *, optional: bool = False) -> list[Lined]:
        found = self.field(at, key, list, optional=optional)
        if found == []:
            self.error(at.place(key), f"{key} is empty; at least one is needed")
        for each in found or ():
            if not isinstance(each, Lined):
                self.error(at.place(key), f"{key}: {shown(each)} is not a mapping")
        return [each for each in found or () if isinstance(each, Lined)]

    def citation(self, at: Lined) -> Citation | None:
        cite = self.field(at, "cite", dict)
        if cite is None:
            return None
        self.known(cite, ("section", "source", "read_on"))
        section = self.field(cite, "section", str)
        source = self.field(cite, "source", str)
        read_on = self.field(cite, "read_on", date)
        return Citation(section, source, read_on) if section and source and read_on else None

    def read(self, at: Lined, key: str, reader: Callable[[Any], Any], default: Any) -> Any:
        """The value at ``key`` by a reader of parameters; ``default`` if it is missing or invalid."""
        if key not in at:
            return default
        try:
            return reader(at[key])
        except ValueError as problem:
            self.error(at.place(key), f"{key}: {problem}")
            return default

    def verified(self, at: Lined) -> str:
        """How the text was checked: one of ``VERIFIED``."""
        found: str = self.field(at, "verified", str, "memory")
        if found not in VERIFIED:
            self.error(at.place("verified"), f"verified: {found!r} is not one of {', '.join(VERIFIED)}")
        return found

    def versions(
        self, at: Lined, name: str, kind: str, params: Mapping[str, Param]
    ) -> tuple[RuleVersion, ...]:
        """The versions of a rule, oldest first. A parameter beside ``versions`` applies to all of them."""
        shared = {key: (at, at[key]) for key in params if key in at}
        entries = self.mappings(at, "versions")
        made = (
            self._version(each, name, kind, params, shared, following)
            for each, following in zip(entries, [*entries[1:], None], strict=False)
        )
        return tuple(each for each in made if each)

    def _version(
        self,
        at: Lined,
        name: str,
        kind: str,
        params: Mapping[str, Param],
        shared: Mapping[str, tuple[Lined, Any]],
        following: Lined | None,
    ) -> RuleVersion | None:
        self.known(at, (*_VERSION, *params))
        first, last = self.in_force(at, name, following)
        verified, cite = self.verified(at), self.citation(at)
        given = {**shared, **{key: (at, at[key]) for key in params if key in at}}
        read: dict[str, Any] = {}
        for key, param in params.items():
            if key not in given:
                if param.required:
                    self.error(at.place(), f"{kind or name} needs {key!r}")
                continue
            where, value = given[key]
            try:
                read[key] = param.read(value)
            except ValueError as problem:
                self.error(where.place(key), f"{key}: {problem}")
        says = self.field(at, "says", str, "")
        note = self.field(at, "note", str, "", optional=True)
        if first is None or cite is None:
            return None
        return RuleVersion(name, kind, first, last, says, cite, verified, note, read)

    def in_force(self, at: Lined, name: str, following: Lined | None) -> tuple[date | None, date | None]:
        """First and last day; without ``until``, to the day before the next version."""
        first, last = self.field(at, "from", date), self.field(at, "until", date, optional=True)
        if first and last and last < first:
            self.error(at.place("until"), f"{name} ends {last}, before it starts on {first}")
        after = following.get("from") if following else None
        if following is None or first is None or not isinstance(after, date) or isinstance(after, datetime):
            return first, last
        if after <= first:
            self.error(
                following.place("from"),
                f"{name}: the version from {after} comes after the one from {first}; the oldest comes first",
            )
        elif last is None:
            last = after - ONE_DAY
        elif last != after - ONE_DAY:
            what = "both are in force on" if last >= after else "none is in force on"
            days = (after, last) if last >= after else (last + ONE_DAY, after - ONE_DAY)
            self.error(
                at.place("until"),
                f"{name} runs until {last} and its next version starts {after}: {what}"
                f" {days[0] if days[0] == days[1] else f'{days[0]} to {days[1]}'}",
            )
        return first, last


@dataclass(frozen=True)
class Shape:
    """The form of a folder's files, one for each authority: rules by name, each with its versions.

    ``rules`` are the names that the program uses, with the parameters of their versions: every authority has
    all of them. Without ``rules`` an authority names its own, each with ``params``.
    """

    folder: str
    rules: Mapping[str, Mapping[str, Param]] = field(default_factory=dict)
    params: Mapping[str, Param] = field(default_factory=dict)

    @property
    def home(self) -> Path:
        return sources.HOME / self.folder

    def load(self, *homes: Path) -> dict[str, Rules]:
        """The rules of folders by authority; by default the project's.

        Raises: RuleDataError with every error, each with file and line.
        """
        reader, found = Builder(), dict[str, Rules]()
        for data in read_files(homes or sources.folders(self.folder)).values():
            reader.known(data, ("authority", "rules"))
            if (named := reader.field(data, "authority", str, "")) and f"{named}.yaml" != data.file:
                reader.error(data.place("authority"), f"{named!r} is in {data.file}; make them agree")
            taken = () if self.rules else [name for rules in found.values() for name in rules]
            found[named] = self._rules(reader, data, taken)
        for missing in sources.authorities() - found.keys() if self.rules and not homes else ():
            reader.error(f"{self.folder}/{missing}.yaml", "is missing; every authority has one")
        reader.stop()
        return found

    def _rules(self, reader: Builder, data: Lined, taken: Collection[str]) -> Rules:
        rules = Rules()
        for each in reader.mappings(data, "rules"):
            name = reader.field(each, "id", str, "")
            if name in rules or name in taken:
                reader.error(each.place("id"), f"there are two of {name}; keep one")
            rules[name] = self._rule(reader, each, name)
        for missing in self.rules.keys() - rules.keys():
            reader.error(data.file, f"the rule {missing!r} is missing")
        return rules

    def load_all(self) -> Rules:
        """The rules of every authority of the project together, if each names its own."""
        return Rules(pair for rules in self.load().values() for pair in rules.items())

    def _rule(self, reader: Builder, at: Lined, name: str) -> tuple[RuleVersion, ...]:
        params = self.rules.get(name, self.params)
        if name and self.rules and name not in self.rules:
            reader.error(at.place("id"), f"there is no rule {name!r}; use one of {', '.join(self.rules)}")
        reader.known(at, ("id", "versions", *params))
        return reader.versions(at, name, "", params)
