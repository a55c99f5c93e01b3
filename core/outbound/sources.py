"""What is fetched from addresses that organisations named: each app says what it wants.

Nothing here opens a connection, so that an app may name its sources and still open none.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any
from uuid import UUID


@dataclass(frozen=True, slots=True)
class Fetched:
    """What came from a URL; an empty `error` means that `value` is the JSON it answered."""

    value: Any = None
    error: str = ""


@dataclass(frozen=True, slots=True)
class Wanted:
    """One address to fetch from, and whose it is."""

    owner_id: UUID
    url: str


@dataclass(frozen=True, slots=True)
class Source:
    """One kind of thing that is fetched.

    `claim` returns what is due and says that it is being fetched, so that no other run does the
    same; `keep` takes what came, outside of any transaction of the fetching.
    """

    claim: Callable[[], Iterable[Wanted]]
    keep: Callable[[Wanted, Fetched], None]


SOURCES: dict[str, Source] = {}


def register_source(name: str, source: Source) -> None:
    """Fetch for this source as well, from now on."""
    SOURCES[name] = source
