"""The kinds of endorsements: ``endorsements/<authority>.yaml``.

Title, wording, who may give it, and which requirements it relies on and meets. Its period is not here: it is
in the rulebook's requirement that it ``proves``. Errors name file and line.
"""

import string
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from syllabus.engine.audit.audit import ABOUT, OTHER, TEST
from syllabus.engine.errors import RuleDataError
from syllabus.engine.record import vocabulary
from syllabus.engine.record.record import Endorsement
from syllabus.engine.record.vocabulary import CATEGORIES, CLASSES, ENDORSEMENTS, INSTRUCTORS
from syllabus.engine.rules.kinds import registry
from syllabus.engine.rules.rulebook import Citation, Milestone, Requirement, Rulebook
from syllabus.law import dated, rulebook, sources
from syllabus.law.dated import Lined

FOLDER = "endorsements"
HOME = sources.HOME / FOLDER
#: The fields of an endorsement besides its kind and the instructor.
FIELDS = (
    "aircraft_model",
    "category",
    "class",
    "test",
    "similar_model",
    "airport",
    "area",
    "route",
    "flight_date",
    "training_date",
    "conditions",
)
#: Fields whose attribute of ``engine.record.Endorsement`` has another name.
_ATTRIBUTES = {"class": "klass"}
REQUIRED, OPTIONAL = "required", "optional"
_ALWAYS = ("student", "given")
_KIND = (
    "kind",
    "title",
    "cite",
    "verified",
    "given_by",
    "fields",
    "tests",
    "means",
    "proves",
    "rests_on",
    "about",
    "trained",
    "ground_counts",
    "life",
    "wording",
)
#: The words that ``means`` may have for a field that is left out.
_MEANT = {"test": vocabulary.TESTS, "category": CATEGORIES, "class": CLASSES}
_LONGEST_WORDING = 2_000


def named(given: Endorsement, field: str) -> Any:
    """The value of one of ``FIELDS`` in an endorsement."""
    return getattr(given, _ATTRIBUTES.get(field, field))


def sort_of(test: str) -> str:
    """The sort of a test by its id: ``practical`` of ``practical:private-glider``."""
    return test.partition(":")[0]


def called(test: str) -> str:
    """A test's name for people: ``private glider practical test``."""
    sort, _, name = test.partition(":")
    return f"{name.replace('-', ' ')} {sort} test".lstrip()


class WordingError(RuleDataError):
    """A wording has a placeholder that the kind does not have, or is not a template."""

    what = "the wording"


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of endorsement of an authority. ``fields`` says whether each field is required.

    ``given_by`` has the kinds of instructor who may give it, each with the sorts of test it must then be for
    (none: any); ``tests`` the sorts that its ``test`` may name. ``means`` is what it is for if the entry
    leaves out all those fields. ``about`` is one of ``audit.ABOUT``; ``ground_counts`` says that ground
    training is enough if ``trained`` requires training.
    """

    authority: str
    kind: str
    title: str
    cite: Citation
    verified: str
    given_by: Mapping[str, tuple[str, ...]]
    fields: Mapping[str, bool]
    tests: tuple[str, ...]
    means: Mapping[str, str]
    proves: tuple[str, ...]
    rests_on: tuple[str, ...]
    about: str
    trained: bool
    ground_counts: bool
    life: str
    wording: str

    @property
    def required(self) -> tuple[str, ...]:
        return tuple(name for name, needed in self.fields.items() if needed)

    @property
    def placeholders(self) -> tuple[str, ...]:
        return (*_ALWAYS, *self.fields)

    def may_be_given_by(self, instructor: str, test: str | None) -> bool:
        """Whether an instructor of this kind (``vocabulary.INSTRUCTORS``) may give it, for this test."""
        if instructor not in self.given_by:
            return False
        sorts = self.given_by[instructor]
        return not sorts or (test is not None and sort_of(test) in sorts)

    def meant(self, given: Endorsement) -> Mapping[str, str]:
        """The test, category and class that it is for: those it names, else those that the kind means."""
        said = {field: value for field in _MEANT if (value := named(given, field))}
        return said or self.means

    def is_about_another(self, given: Endorsement) -> bool:
        """Whether it names another test, category or class than the requirements here."""
        said = self.meant(given)
        return any(said.get(field, value) != value for field, value in self.means.items())

    def filled(self, wording: str, values: Mapping[str, str]) -> str:
        """The wording with its placeholders filled in; one without a value becomes a blank line.

        Raises: WordingError.
        """
        check_wording(self, wording)
        return wording.format_map({name: values.get(name) or "____" for name in self.placeholders})


def check_wording(kind: Kind, wording: str, place: str = "wording") -> None:
    """Refuse a wording that is empty, too long, not a template, or has placeholders that the kind does not
    have.

    Raises: WordingError.
    """
    if error := _wording_error(wording, kind.placeholders):
        raise WordingError.at(place, error)


def _wording_error(wording: str, placeholders: Collection[str]) -> str | None:
    if not wording.strip():
        return "is empty; write what the endorsement says"
    if len(wording) > _LONGEST_WORDING:
        return f"has {len(wording)} characters, at most {_LONGEST_WORDING} fit"
    try:
        parts = list(string.Formatter().parse(wording))
    except ValueError:
        return "has a brace without its other half; write {{ or }} for a brace itself"
    for _, name, layout, conversion in parts:
        if name is None:
            continue
        if name not in placeholders or layout or conversion:
            known = ", ".join(f"{{{each}}}" for each in placeholders)
            return f"{{{name}}} is not a placeholder here; use one of {known}"
    return None


@dataclass(frozen=True)
class Catalogue:
    """Every kind, in the order of the file."""

    kinds: Mapping[str, Kind]

    def rests_on(self, kind: Kind, rules: Rulebook) -> tuple[Requirement, ...]:
        """The requirements that an endorsement relies on, each once, without those that it proves."""
        found: dict[str, Requirement] = {}
        for name in kind.rests_on:
            for each in _meant(name, rules):
                if each.id not in kind.proves:
                    found[each.id] = each
        return tuple(found.values())

    def proves(self, kind: Kind, rules: Rulebook) -> tuple[Requirement, ...]:
        return tuple(each for name in kind.proves for each in _meant(name, rules))


def _meant(name: str, rules: Rulebook) -> Iterable[Requirement]:
    """The requirement of that id, or all those of the milestone; empty if there is none."""
    if name in rules.milestones:
        return rules.milestones[name].requirements
    milestone: Milestone | None = rules.milestones.get(name.rpartition(".")[0])
    return [each for each in milestone.requirements if each.id == name] if milestone else ()


class _Reader(dated.Builder):
    """Reads the files of endorsements and checks them against the rulebook."""

    def __init__(self, rules: Rulebook) -> None:
        super().__init__()
        self.rules = rules
        #: The authority of the current file.
        self.authority = ""

    def kinds(self, at: Lined) -> Iterator[Kind]:
        self.known(at, ("authority", "kinds"))
        name = self.authority = self.field(at, "authority", str, "")
        if name and f"{name}.yaml" != at.file:
            self.error(at.place("authority"), f"{name!r} is in {at.file}; make them agree")
        for each in self.mappings(at, "kinds"):
            if made := self.kind(each):
                yield made

    def kind(self, at: Lined) -> Kind | None:
        self.known(at, _KIND)
        name = self.field(at, "kind", str, "")
        if name and name not in ENDORSEMENTS:
            self.error(at.place("kind"), f"unknown kind {name!r}; use one of {', '.join(ENDORSEMENTS)}")
        verified = self.verified(at)
        trained, ground_counts = (
            self.read(at, key, registry.flag, False) for key in ("trained", "ground_counts")
        )
        if ground_counts and not trained:
            self.error(at.place("ground_counts"), "ground_counts: only where trained is true")
        about = self.read(at, "about", registry.word(*ABOUT), OTHER)
        if about == TEST and "tests" not in at:
            self.error(at.place("about"), "about: an endorsement for a test names its sorts in 'tests'")
        cite = self.citation(at)
        given_by = self.given_by(at)
        fields = self.fields(at)
        tests, means = self.tests(at, fields), self.means(at, fields)
        wording = self.field(at, "wording", str, "")
        placeholders = (*_ALWAYS, *fields)
        if wording and (wrong := _wording_error(wording, placeholders)):
            self.error(at.place("wording"), f"wording: {wrong}")
        proves, rests_on = self.requirements(at, "proves"), self.requirements(at, "rests_on")
        for each in proves:
            if each in self.rules.milestones:
                self.error(at.place("proves"), f"proves: {each} is a milestone; name its requirement")
        title = self.field(at, "title", str, "")
        life = self.field(at, "life", str, "")
        if cite is None or not name:
            return None
        return Kind(
            authority=self.authority,
            kind=name,
            title=title,
            cite=cite,
            verified=verified,
            given_by=given_by,
            fields=fields,
            tests=tests,
            means=means,
            proves=proves,
            rests_on=rests_on,
            about=about,
            trained=trained,
            ground_counts=ground_counts,
            life=life,
            wording=wording,
        )

    def given_by(self, at: Lined) -> dict[str, tuple[str, ...]]:
        """Who may give it: a list of kinds of instructor, or a table with the sorts of test for each."""
        said = at.get("given_by")
        if isinstance(said, dict):
            table = {
                str(each): self.words(at, "given_by", sorts, vocabulary.TEST_SORTS)
                for each, sorts in said.items()
            }
            self.words(at, "given_by", list(table), INSTRUCTORS)
            return table
        listed = self.field(at, "given_by", list, ["flight"])
        return dict.fromkeys(self.words(at, "given_by", listed, INSTRUCTORS), ())

    def words(self, at: Lined, key: str, said: Any, known: Collection[str]) -> tuple[str, ...]:
        """A list of known words, each once, at least one."""
        if not isinstance(said, list) or not said:
            self.error(at.place(key), f"{key}: {said!r} is not a list of {', '.join(known)}")
            return ()
        for each in said:
            if each not in known:
                self.error(at.place(key), f"{key}: {each!r} is not one of {', '.join(known)}")
            elif said.count(each) > 1:
                self.error(at.place(key), f"{key}: {each} occurs twice; keep one")
        return tuple(said)

    def tests(self, at: Lined, fields: Mapping[str, bool]) -> tuple[str, ...]:
        """The sorts of test that the field ``test`` may name, which require that field."""
        if ("tests" in at) != ("test" in fields):
            where = at.place("tests" if "tests" in at else "fields")
            self.error(where, "tests: the field 'test' and the sorts it may name go together")
        return self.words(at, "tests", at["tests"], vocabulary.TEST_SORTS) if "tests" in at else ()

    def means(self, at: Lined, fields: Mapping[str, bool]) -> dict[str, str]:
        """The meaning of fields that are left out, which must be optional fields of the kind."""
        found: dict[str, str] = {}
        for name, word in self.field(at, "means", dict, {}, optional=True).items():
            if name not in _MEANT:
                self.error(at.place("means"), f"means: {name!r} is not one of {', '.join(_MEANT)}")
            elif fields.get(name, True):
                self.error(at.place("means"), f"means: {name} is not an optional field of the kind")
            elif word not in _MEANT[name]:
                self.error(at.place("means"), f"means: {name}: {word!r} is not known")
            else:
                found[name] = word
        return found

    def fields(self, at: Lined) -> dict[str, bool]:
        found: dict[str, bool] = {}
        for name, word in self.field(at, "fields", dict, {}).items():
            if name not in FIELDS:
                self.error(at.place("fields"), f"unknown field {name!r}; use one of {', '.join(FIELDS)}")
            elif word not in (REQUIRED, OPTIONAL):
                self.error(at.place("fields"), f"{name}: {word!r} is neither {REQUIRED} nor {OPTIONAL}")
            else:
                found[name] = word == REQUIRED
        return found

    def requirements(self, at: Lined, key: str) -> tuple[str, ...]:
        found: list[str] = []
        for name in self.field(at, key, list, [], optional=True):
            if not isinstance(name, str) or not list(_meant(name, self.rules)):
                self.error(at.place(key), f"{key}: the rulebook has no requirement or milestone {name!r}")
            else:
                found.append(name)
        return tuple(found)


def load(rules: Rulebook, *homes: Path) -> Catalogue:
    """The kinds in folders, checked against a rulebook: every kind must occur once.

    By default those of the project.

    Raises: RuleDataError with every error, each with file and line.
    """
    reader = _Reader(rules)
    found: dict[str, Kind] = {}
    for data in dated.read_files(homes or sources.folders(FOLDER)).values():
        for each in reader.kinds(data):
            if each.kind in found:
                reader.error(data.place("kinds"), f"{each.kind} occurs twice; keep one")
            found[each.kind] = each
    for missing in [kind for kind in ENDORSEMENTS if kind not in found]:
        reader.error(FOLDER, f"the kind {missing!r} is in no file")
    reader.stop()
    return Catalogue(found)


@sources.read_once
def current() -> Catalogue:
    """The project's kinds, read once per process."""
    return load(rulebook.current())
