"""Pages by cursor: stable while rows are added, one indexed query a page."""

from collections.abc import Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from rest_framework.exceptions import NotFound
from rest_framework.pagination import Cursor, CursorPagination
from rest_framework.request import Request

from core.problems import InvalidRequest

MAX_PAGE = 200


class CursorPages(CursorPagination):
    """Newest first by the time-ordered id; `?cursor=` from `next`, `?page_size=` up to 200."""

    ordering = "-id"
    page_size = 50
    page_size_query_param = "page_size"
    max_page_size = MAX_PAGE

    def get_page_size(self, request: Request) -> int:
        """Return how many to show; a size that is not one is refused, not passed over."""
        text = request.query_params.get(self.page_size_query_param)
        if text is None:
            return self.page_size
        if text.isascii() and text.isdigit() and 1 <= int(text[:9]) <= MAX_PAGE:
            return int(text[:9])
        message = f"Give a whole number from 1 to {MAX_PAGE}."
        raise InvalidRequest(
            f"page_size: {message}", errors=[{"field": "page_size", "message": message}]
        )

    def decode_cursor(self, request: Request) -> Cursor | None:
        try:
            return super().decode_cursor(request)
        except NotFound as error:
            raise _foreign_cursor() from error

    def paginate_queryset(
        self, queryset: QuerySet[Any] | Sequence[Any], request: Request, view: Any = None
    ) -> list[Any] | None:
        """Return one page; a cursor whose place is none of this list's is refused."""
        try:
            return super().paginate_queryset(queryset, request, view)
        except (ValidationError, ValueError) as error:
            raise _foreign_cursor() from error

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        """Name in the OpenAPI document how large a page may be."""
        parameters = super().get_schema_operation_parameters(view)
        for parameter in parameters:
            if parameter["name"] == self.page_size_query_param:
                parameter["schema"] = {"type": "integer", "minimum": 1, "maximum": MAX_PAGE}
        return parameters


def _foreign_cursor() -> InvalidRequest:
    return InvalidRequest(
        "The cursor is not one this service gave.",
        next_step="Follow the `next` address of a page as it is, or leave cursor out.",
        errors=[{"field": "cursor", "message": "Not a cursor of this service."}],
    )
