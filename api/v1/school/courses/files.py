"""A course as the text of its file, in and out."""

from http import HTTPStatus
from typing import Any

from rest_framework.parsers import BaseParser
from rest_framework.renderers import BaseRenderer, JSONRenderer

from api.v1.base.errors import Problem, Unreadable
from training.services.courses import courses

YAML = "application/yaml"


class Text(str):
    """The text of a course's file, as it was sent."""


class YAMLParser(BaseParser):
    """UTF-8 text of a course file."""

    media_type = YAML

    def parse(self, stream: Any, media_type: Any = None, parser_context: Any = None) -> Any:
        headers = parser_context["request"].headers
        if headers.get("Content-Encoding", "identity").strip().lower() not in ("", "identity"):
            raise Problem(
                HTTPStatus.UNSUPPORTED_MEDIA_TYPE,
                "Compressed bodies are not accepted. Send plain YAML without Content-Encoding.",
            )
        body = stream.read(courses.MOST_BYTES + 1)
        if len(body) > courses.MOST_BYTES:
            raise too_large()
        try:
            return Text(body.decode("utf-8-sig"))
        except UnicodeDecodeError as error:
            raise Unreadable.at(f"byte {error.start}", "not UTF-8 text") from None


class YAMLRenderer(BaseRenderer):
    """A course as the text of its file; a refusal stays JSON."""

    media_type = YAML
    format = "yaml"
    charset = "utf-8"

    def render(self, data: Any, accepted_media_type: Any = None, renderer_context: Any = None) -> bytes:
        if isinstance(data, str):
            return data.encode()
        made: bytes = JSONRenderer().render(data, None, renderer_context)
        return made


def too_large() -> Problem:
    most = courses.MOST_BYTES // 1024
    return Problem(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, f"A course has at most {most} kB.")
