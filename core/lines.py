"""Lines of lists that are drawn again and again: one that says the same is drawn once."""

from functools import lru_cache
from typing import Protocol

from django.template.loader import get_template
from django.utils.safestring import SafeString

MOST_KEPT = 8192  # of about 2 KB each, in each process


class Line(Protocol):
    """All that a line says: a frozen dataclass of plain values, so that it is one key.

    Its template shows nothing else, and no word in it may depend on the time: moments are in it
    as they are said (`core.templatetags.look.when`).
    """

    def __hash__(self) -> int:
        """Return what a line that says the same has as well."""


@lru_cache(maxsize=MOST_KEPT)
def drawn(template: str, line: Line) -> SafeString:
    """Return a line as its template draws it, which finds it as `line`."""
    return SafeString(get_template(template).render({"line": line}))
