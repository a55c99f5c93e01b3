"""Pages by cursor: stable while rows are added, one indexed query a page."""

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

    def decode_cursor(self, request: Request) -> Cursor | None:
        try:
            return super().decode_cursor(request)
        except NotFound as error:
            raise InvalidRequest(
                "The cursor is not one this service gave.",
                next_step="Follow the `next` address of a page as it is, or leave cursor out.",
                errors=[{"field": "cursor", "message": "Not a cursor of this service."}],
            ) from error
