"""Paginated lists."""

from abc import ABC, abstractmethod
from collections.abc import Sequence
from typing import Any

from django.db.models import QuerySet
from rest_framework.pagination import CursorPagination
from rest_framework.request import Request

from api.v1.base.field_types import STRING
from api.v1.base.serializers import Field, ResponseSerializer
from syllabus.engine.errors import QuestionError


class PageSerializer(ResponseSerializer):
    next = Field(STRING, allow_null=True)
    previous = Field(STRING, allow_null=True)


class Pages(ABC, CursorPagination):
    """A page from a cursor on."""

    page_size = 50

    @abstractmethod
    def position(self, text: str) -> Any:
        """Where a page starts, by the ordering's first column. Raises: ValueError for an invalid cursor."""

    def __init__(self, rows: QuerySet[Any], request: Request):
        self.rows: Sequence[Any] = self.paginate_queryset(rows, request) or ()

    @property
    def links(self) -> dict[str, Any]:
        return {"next": self.get_next_link(), "previous": self.get_previous_link()}

    def decode_cursor(self, request: Request) -> Any:
        cursor = super().decode_cursor(request)
        if cursor is not None and cursor.position is not None:
            try:
                self.position(str(cursor.position))
            except ValueError:
                raise QuestionError.at("cursor", "is not a cursor from next or previous") from None
        return cursor
