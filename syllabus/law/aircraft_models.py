"""The built-in makes and models: ``aircraft_models.yaml``. Errors name file and line."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from syllabus.engine.record.vocabulary import CATEGORIES
from syllabus.engine.rules.aircraft_models import Model, Models, folded
from syllabus.law import dated
from syllabus.law.dated import Lined
from syllabus.law.instructing import classes_of

HOME = Path(__file__).parent / "aircraft_models.yaml"
_MODEL = ("model", "maker", "category", "class", "spellings")


def class_error(category: str | None, klass: str | None) -> str | None:
    """Why a class does not fit the category; None if it does, or if one of them is unknown."""
    if klass is None or category is None:
        return None
    if klass in (known := classes_of(category)):
        return None
    return f"{klass!r} is not a class of {category}; " + (
        f"use one of {', '.join(known)}" if known else "it has no classes"
    )


@dataclass(frozen=True, slots=True)
class Shipped:
    """A model with its further spellings; each is also known with the maker's name before it."""

    model: Model
    maker: str
    spellings: tuple[str, ...]

    @property
    def with_maker(self) -> tuple[str, ...]:
        every = (self.model.name, *self.spellings)
        spelled = {folded(each) for each in every}  # a spelling may have the maker's name already
        made = [f"{self.maker} {each}" for each in every if self.maker]
        return tuple(each for each in made if folded(each) not in spelled)


class _Reader(dated.Builder):
    def __init__(self) -> None:
        super().__init__()
        self.seen: dict[str, str] = {}

    def model(self, at: Lined) -> Shipped:
        self.known(at, _MODEL)
        name = self.field(at, "model", str, "")
        maker = self.field(at, "maker", str, "", optional=True)
        category = self.field(at, "category", str, "")
        if category and category not in CATEGORIES:
            self.error(at.place("category"), f"category: {category!r} is not a category")
        klass = self.field(at, "class", str, optional=True)
        if category in CATEGORIES and (wrong := class_error(category, klass)):
            self.error(at.place("class"), f"class: {wrong}")
        elif klass is None and (known := classes_of(category)):
            self.error(at.place(), f"class is missing; {category} has {', '.join(known)}")
        given = [name, *self.spellings(at)]
        for each in given:
            self.once(at, each, name)
        found = Shipped(Model(name, category, klass), maker, tuple(given[1:]))
        for each in found.with_maker:
            self.once(at, each, name)
        return found

    def spellings(self, at: Lined) -> list[str]:
        found = []
        for each in self.field(at, "spellings", list, [], optional=True):
            if isinstance(each, str) and folded(each):
                found.append(each)
            else:
                self.error(
                    at.place("spellings"), f"spellings: {each!r} is not text; write it in quotation marks"
                )
        return found

    def once(self, at: Lined, spelling: str, model: str) -> None:
        key = folded(spelling)
        if key and key in self.seen:
            self.error(
                at.place(), f"{spelling!r} is linked to {self.seen[key]} already, now to {model}; keep one"
            )
        self.seen.setdefault(key, model)


def load(home: Path = HOME) -> tuple[Shipped, ...]:
    """The models of a file, in order. Raises: RuleDataError with every error, each with file and line."""
    reader = _Reader()
    starts = "a table of models starts with 'source:'"
    data = dated.read_text(home.read_text(encoding="utf-8"), home.name, starts)
    reader.known(data, ("source", "verified", "models"))
    reader.field(data, "source", str, "")
    reader.verified(data)
    found = tuple(reader.model(each) for each in reader.mappings(data, "models"))
    reader.stop()
    return found


@cache
def shipped() -> tuple[Shipped, ...]:
    """The built-in table, read once per process."""
    return load()


@cache
def current() -> Models:
    """The links of the built-in table."""
    return linked(shipped())


def linked(table: Iterable[Shipped]) -> Models:
    """A table's spellings, each linked to its model."""
    return Models.of((each.model, (*each.spellings, *each.with_maker)) for each in table)
