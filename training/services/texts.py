"""Texts that somebody writes for good: a reason, a note, what was seen."""

from syllabus.engine.errors import InputError

MOST = 2_000


def short(error: type[InputError], place: str, text: str, most: int = MOST) -> str:
    """The text as it is. Raises: ``error`` where it is too long."""
    if len(text) > most:
        raise error.at(place, f"has {len(text)} characters, at most {most} fit")
    return text


def needed(error: type[InputError], place: str, text: str, asked: str, most: int = MOST) -> str:
    """The text without blanks around it. Raises: ``error`` where it is blank or too long."""
    if not text.strip():
        raise error.at(place, f"is empty; {asked}")
    return short(error, place, text.strip(), most)
