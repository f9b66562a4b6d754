"""Reading ordinary objects fast: code made once for each shape, straight through its keys.

It knows no errors. Wherever an object has one, or may have, it gives up, and ``shapes`` reads the object
again with the places that an error needs.
"""

from __future__ import annotations

import marshal
from collections.abc import Callable, Iterable
from typing import Any

from syllabus.engine import effort
from syllabus.engine.record.reading import Errors, Read

Plain = Callable[[Any], Any]
"""Makes an object of a value; None where it gives up."""


class Remembered:
    """A reader that reads equal values of one document once.

    They are known by their bytes, which tell 1, 1.0 and true apart, and 0.0 from -0.0.
    """

    def __init__(self, read: Read):
        self.read = read

    def __call__(self, errors: Errors, value: Any, place: str) -> Any:
        try:
            key = marshal.dumps(value, 2)  # from version 3 on, bytes depend on who else holds a value
        except ValueError:  # not plain JSON
            return self.read(errors, value, place)
        memo = errors.memo[self]
        if (known := memo.get(key)) is not None:
            return known
        effort.check()
        before = len(errors)
        found = self.read(errors, value, place)
        if len(errors) == before:
            memo[key] = found
        return found


def compiled(made: type, fields: Iterable[tuple[str, str, Read, bool, Any]]) -> Callable[[Errors], Plain]:
    """The code for a class: given the errors of a document, it gives the reader of its objects.

    ``fields`` are the key, name, reader, whether it is required, and the default of each field.
    """
    contradictions = getattr(made, "contradictions", None)
    known: dict[str, Any] = {
        "made": made, "new": object.__new__, "fill": object.__setattr__, "dumps": marshal.dumps,
        "contradictions": contradictions,
    }  # fmt: skip
    bound, steps, filled = [], [], []
    for number, (key, name, read, required, default) in enumerate(fields):
        value, reader = f"v{number}", f"r{number}"
        known[reader], known[f"d{number}"] = read, default
        steps.append(f"   if ({value} := get({key!r})) is not None:")
        if isinstance(read, Remembered):
            bound.append(f" m{number} = errors.memo[{reader}].get")
            steps.append(f"    if (known := m{number}(dumps({value}, 2))) is not None: {value} = known")
            steps.append(f"    else: {value} = {reader}(errors, {value}, '')")
        else:
            steps.append(f"    {value} = {reader}(errors, {value}, '')")
        if required or name == "id":  # an entry without an id goes by its place
            steps.append(f"   if {value} is None: raise ValueError")
        elif default is not None:
            steps.append(f"   if {value} is None: {value} = d{number}")
        filled.append((name, value))
    known["keys"] = frozenset(key for key, *_ in fields)
    if hasattr(made, "__slots__"):
        steps.append(f"   object = made({', '.join(f'{name}={value}' for name, value in filled)})")
    else:  # a frozen class takes longer to set its fields than they take to read
        steps.append("   object = new(made)")
        steps.append(
            f"   fill(object, '__dict__', {{{', '.join(f'{name!r}: {value}' for name, value in filled)}}})"
        )
    if contradictions:
        steps.append("   for _ in contradictions(object, value): raise ValueError")
    source = [
        "def bind(errors):", *bound,
        " def plain(value):",
        "  if value.__class__ is not dict or not value.keys() <= keys: return None",
        "  get, before = value.get, len(errors)",
        "  try:", *steps,
        "   if len(errors) == before: return object",
        "  except ValueError: pass",  # also from a value that is not plain JSON
        "  del errors[before:]",
        " return plain",
    ]  # fmt: skip
    exec("\n".join(source), known)  # noqa: S102  every name in it is one of a class that we wrote
    bind: Callable[[Errors], Plain] = known["bind"]
    return bind
