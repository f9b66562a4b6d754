"""The spellings of each make and model: linked, unlinked, and models of the school's own.

They override the built-in table. A spelling without a link makes the answer unknown wherever models are
compared; one that is linked to another model does not count.
"""

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from django.db import transaction

from syllabus.engine.errors import Error, InputError
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.vocabulary import CATEGORIES, CLASSES
from syllabus.engine.rules.aircraft_models import Model, folded
from syllabus.law import aircraft_models
from syllabus.law.aircraft_models import class_error
from training.models import ModelSpelling, School, User
from training.services import access
from training.services.school import school_settings

MOST = 1_000


class ModelError(InputError):
    """Invalid links of spellings."""

    what = "the aircraft models"


@dataclass(frozen=True, slots=True)
class Link:
    """A spelling and the model it means. If both are the same, it is a model of the school's own, which may
    have a category and class.
    """

    spelling: str
    model: str
    category: str | None = None
    klass: str | None = None

    @property
    def is_model(self) -> bool:
        return folded(self.spelling) == folded(self.model)

    def as_json(self) -> dict[str, Any]:
        return {"class" if key == "klass" else key: value for key, value in asdict(self).items()}


@dataclass(frozen=True, slots=True)
class Listed:
    """A model with its further spellings: built-in ones and those that the school linked."""

    model: Model
    shipped: bool
    spellings: tuple[str, ...]
    linked: tuple[str, ...]


def own(school: School) -> list[Link]:
    """The school's own links, by model and spelling."""
    return [
        Link(each.spelling, each.model, each.category or None, each.klass or None)
        for each in ModelSpelling.objects.filter(school=school)
    ]


def listed(links: Sequence[Link]) -> list[Listed]:
    """All models of a school with these links: its own models, then the built-in ones."""
    by_model: dict[str, list[str]] = {}
    for each in links:
        if not each.is_model:
            by_model.setdefault(each.model, []).append(each.spelling)
    taken = {folded(each.spelling) for each in links}
    found = [
        Listed(Model(each.model, each.category, each.klass), False, (), tuple(by_model.get(each.model, ())))
        for each in links
        if each.is_model
    ]
    for known in aircraft_models.shipped():
        kept = tuple(each for each in known.spellings if folded(each) not in taken)
        found.append(Listed(known.model, True, kept, tuple(by_model.get(known.model.name, ()))))
    return found


@transaction.atomic
def change(slug: str, links: Sequence[Link], *, by: User, at: dt.datetime) -> list[Link]:
    """Replace the school's links; the same again changes nothing.

    Raises: NotAllowed; ModelError with every error, at ``spellings[2].model``.
    """
    school = access.locked_school(by, "change settings", slug)
    return _put(school, _checked(links), by=by, at=at)


@transaction.atomic
def link(slug: str, spelling: str, model: str, *, by: User, at: dt.datetime) -> list[Link]:
    """Link another spelling to a model. Raises: as ``change``, at ``spelling`` or ``model``."""
    return _one_more(slug, Link(spelling, model), by=by, at=at)


@transaction.atomic
def add(
    slug: str, model: str, category: str | None, klass: str | None, *, by: User, at: dt.datetime
) -> list[Link]:
    """Add a model of the school's own. Raises: as ``link``."""
    return _one_more(slug, Link(model, model, category, klass), by=by, at=at)


@transaction.atomic
def unlink(slug: str, spelling: str, *, by: User, at: dt.datetime) -> list[Link]:
    """Remove a school's link or model; the built-in table applies again.

    Raises: NotAllowed; ModelError if there is none, or if other spellings still mean the model.
    """
    school = access.locked_school(by, "change settings", slug)
    before = own(school)
    left = [each for each in before if folded(each.spelling) != folded(spelling)]
    if len(left) == len(before):
        raise ModelError.at("spelling", f"{spelling!r} is not linked by the school")
    if needing := [each.spelling for each in left if folded(each.model) == folded(spelling)]:
        raise ModelError.at("spelling", f"{', '.join(needing)} means this model; unlink it first")
    return _put(school, _checked(left), by=by, at=at)


def _one_more(slug: str, new: Link, *, by: User, at: dt.datetime) -> list[Link]:
    school = access.locked_school(by, "change settings", slug)
    before = own(school)
    place = f"spellings[{len(before)}]."
    try:
        made = _checked([*before, new])
    except ModelError as wrong:
        raise ModelError(
            Error(each.place.removeprefix(place), each.message) for each in wrong.errors
        ) from None
    return _put(school, made, by=by, at=at)


def _put(school: School, links: list[Link], *, by: User, at: dt.datetime) -> list[Link]:
    before = own(school)
    ordered = sorted(links, key=lambda each: (each.model, each.spelling))
    if ordered == sorted(before, key=lambda each: (each.model, each.spelling)):
        return before
    rows = {each.spelling: each for each in before}
    gone = [each.spelling for each in before if each not in links]
    ModelSpelling.objects.filter(school=school, spelling__in=gone).delete()
    ModelSpelling.objects.bulk_create(
        ModelSpelling(
            school=school,
            spelling=each.spelling,
            folded=folded(each.spelling),
            model=each.model,
            category=each.category or "",
            klass=each.klass or "",
        )
        for each in links
        if rows.get(each.spelling) != each
    )
    noted = ([each.as_json() for each in some] for some in (before, ordered))
    school_settings.note(school, school_settings.AIRCRAFT_MODELS, *noted, by=by, at=at)
    return own(school)


def _checked(links: Sequence[Link]) -> list[Link]:
    """The links as stored, each with the model's full name.

    Raises: ModelError with every error.
    """
    errors = Errors()
    if len(links) > MOST:
        raise ModelError.at("spellings", f"{len(links)} links; at most {MOST} are allowed")
    links = [Link(each.spelling.strip(), each.model.strip(), each.category, each.klass) for each in links]
    mine = {folded(each.model): each.model for each in links if each.is_model}
    elsewhere = {folded(each.spelling): each.model for each in links if not each.is_model}
    seen: dict[str, int] = {}
    made = []
    for number, each in enumerate(links):
        place = f"spellings[{number}]"
        found = Errors()
        found.extend(_errors(each, mine, elsewhere))
        if folded(each.spelling) in seen:
            found.add("spelling", f"{each.spelling!r} is already linked; a spelling can mean only one model")
        seen.setdefault(folded(each.spelling), number)
        errors += [Error(f"{place}.{error.place}", error.message) for error in found]
        if not found:
            if each.is_model:
                made.append(Link(each.model, each.model, each.category, each.klass))
            else:
                known = aircraft_models.current().find(each.model)
                name = mine.get(folded(each.model)) or (known.name if known else each.model)
                made.append(Link(each.spelling, name))
    errors.stop(ModelError)
    return made


def _errors(link: Link, mine: dict[str, str], elsewhere: dict[str, str]) -> Iterator[Error]:
    table = aircraft_models.current()
    blank = [name for name in ("spelling", "model") if not folded(getattr(link, name))]
    yield from (Error(name, "has no letter and no digit; write a make and model") for name in blank)
    if blank:
        return
    known = table.find(link.spelling)
    named = known is not None and folded(known.name) == folded(link.spelling)
    if link.is_model:
        yield from _errors_of_model(link, named)
        return
    if named:
        yield Error("spelling", f"{link.spelling} is itself a model; link the other spelling to it")
    for place, value in (("category", link.category), ("class", link.klass)):
        if value is not None:
            yield Error(place, "is the model's; leave it out where a spelling is linked")
    target = folded(link.model)
    if target in mine:
        return
    if target in elsewhere:
        yield Error("model", f"{link.model!r} is linked to {elsewhere[target]}; link to that instead")
    elif table.find(link.model) is None:
        yield Error("model", f"{link.model!r} is not a known model; add it first, or link to a known one")


def _errors_of_model(link: Link, named: bool) -> Iterator[Error]:
    """The error of a school's own model, if any; ``named``: the built-in table has one of that name."""
    if named:
        yield Error("model", f"{link.model} is a model already")
    if link.category is not None and link.category not in CATEGORIES:
        yield Error("category", f"{link.category!r} is not a category; use one of {', '.join(CATEGORIES)}")
    elif link.klass is not None and link.klass not in CLASSES:
        yield Error("class", f"{link.klass!r} is not a class; use one of {', '.join(CLASSES)}")
    elif wrong := class_error(link.category, link.klass):
        yield Error("class", wrong)
