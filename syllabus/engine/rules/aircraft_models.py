"""Makes and models: which spellings are one model, and of what category and class each is."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from syllabus.engine.record.record import Aircraft


def folded(text: str) -> str:
    """The form in which spellings are compared: ``C-172`` and ``c172`` are one spelling."""
    return "".join(ch for ch in text.casefold() if ch.isalnum())


@dataclass(frozen=True, slots=True)
class Model:
    """One make and model. ``name`` is the spelling that stands for all."""

    name: str
    category: str | None = None
    klass: str | None = None


@dataclass(frozen=True)
class Models:
    """Spellings of models, each linked to the model it means."""

    linked: Mapping[str, Model] = field(default_factory=lambda: MappingProxyType({}))

    @classmethod
    def of(cls, entries: Iterable[tuple[Model, Iterable[str]]]) -> Models:
        """Of models with their other spellings; a later entry takes a spelling from an earlier one."""
        return cls({folded(name): model for model, also in entries for name in (model.name, *also)})

    def __or__(self, other: Models) -> Models:
        """These with the links of another, which counts where they differ."""
        return Models({**self.linked, **other.linked}) if other.linked else self

    def find(self, spelling: str) -> Model | None:
        return self.linked.get(folded(spelling))

    def kind_of(self, craft: Aircraft) -> tuple[str | None, str | None]:
        """The category and class of an entry's aircraft: as it says, else as its model has them."""
        if craft.category is not None and craft.klass is not None:
            return craft.category, craft.klass
        known = self.find(craft.model) if craft.model else None
        if known is None or craft.category not in (None, known.category):
            return craft.category, craft.klass
        return known.category or craft.category, craft.klass or known.klass

    def same(self, a: str, b: str) -> bool | None:
        """Whether two spellings mean one model; None where nobody linked one of them."""
        if folded(a) == folded(b):
            return True
        one, other = self.find(a), self.find(b)
        if one is None or other is None:
            return None
        return one.name == other.name


NO_MODELS = Models()
