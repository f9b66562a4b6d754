"""Permanent texts: a reason, a note, which document was seen."""

from syllabus.engine.errors import InputError

MOST = 2_000


def short(error: type[InputError], place: str, text: str, most: int = MOST) -> str:
    """The text unchanged. Raises: ``error`` if it is too long."""
    if len(text) > most:
        raise error.at(place, f"has {len(text)} characters, at most {most} fit")
    return text


def needed(error: type[InputError], place: str, text: str, asked: str, most: int = MOST) -> str:
    """The stripped text. Raises: ``error`` if it is blank or too long."""
    if not text.strip():
        raise error.at(place, f"is empty; {asked}")
    return short(error, place, text.strip(), most)
