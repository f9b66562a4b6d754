"""Strict parsing of requests: the JSON body and the query string."""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from django.http import QueryDict
from rest_framework.parsers import BaseParser

from api.v1.base.errors import Problem, Unreadable, too_large
from syllabus.engine.errors import QuestionError
from syllabus.engine.record import reading
from syllabus.engine.record.reading import Errors, Object

#: The longest body in bytes: a record of 10,000 flights.
MOST_BYTES = 8 * 1024 * 1024


class StrictJSONParser(BaseParser):
    """UTF-8 JSON. Repeated keys, NaN, surrogates and compressed bodies are refused."""

    media_type = "application/json"

    def parse(self, stream: Any, media_type: Any = None, parser_context: Any = None) -> Any:
        """Plain JSON values. Raises: Unreadable, Problem (413, 415)."""
        headers = parser_context["request"].headers
        if headers.get("Content-Encoding", "identity").strip().lower() not in ("", "identity"):
            raise Problem(
                HTTPStatus.UNSUPPORTED_MEDIA_TYPE,
                "Compressed bodies are not accepted. Send plain JSON without Content-Encoding.",
            )
        body = stream.read(MOST_BYTES + 1)
        if len(body) > MOST_BYTES:
            raise too_large(MOST_BYTES)
        try:
            text = body.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            raise Unreadable.at(f"byte {error.start}", "not UTF-8 text") from None
        return reading.loads(text, error=Unreadable)


def read_query(given: QueryDict, readers: Mapping[str, reading.Read]) -> dict[str, Any]:
    """The parameters of a query string as Python values; None for a missing one.

    Raises: QuestionError with every error: unknown, repeated or unreadable parameters.
    """
    errors = Errors()
    for key, values in given.lists():
        if len(values) > 1:
            errors.add(key, f"occurs {len(values)} times in the query; give it once")
    fields = Object(errors, {key: values[-1] for key, values in given.lists()}, "")
    found = {key: fields.take(key, read) for key, read in readers.items()}
    fields.done()
    errors.stop(QuestionError)
    return found
