"""Pages that browsers ask for again and again: 304 by one query while they say the same.

The tag of such a page holds who looks, when the page was made and until when it is good, and a
digest of all else that it depends on: the release, the address, the person's rights, and how often
anything changed that pages of their organisation show (`accounts/pages_version.py`).
"""

import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from hashlib import sha256
from importlib import import_module
from typing import ClassVar
from uuid import UUID

from django.conf import settings
from django.contrib.sessions.backends.base import SessionBase
from django.http import HttpRequest, HttpResponse, HttpResponseNotModified

from accounts.auth import caller_signed_in, require
from accounts.caller import Caller, name_in_log
from accounts.pages.base import PageView
from accounts.pages_version import triggers_missing
from accounts.proofs import Proof, proof_asked
from accounts.selectors import signed_in_row
from core.clock import now
from core.release import release

# A proxy or the compression may have made it a weak one: it is found within W/"…" as well.
TAG = re.compile(r'"([0-9a-f]{32})-([0-9a-f]{1,12})-([0-9a-f]{1,12})-([0-9a-f]{32})"')
MESSAGES_COOKIE = "messages"
MESSAGES_IN_SESSION = "_messages"


@dataclass(frozen=True, slots=True)
class Tag:
    """An ETag: `made` and `until` in whole seconds, the later one left out."""

    person_id: UUID
    made: int
    until: int
    digest: str

    def __str__(self) -> str:
        """Return it as a header holds it."""
        return f'"{self.person_id.hex}-{self.made:x}-{self.until:x}-{self.digest}"'

    def is_good(self, at: datetime, longest: timedelta) -> bool:
        """Return whether time alone has changed nothing; not where the clock was put back."""
        lasts = self.until - self.made <= longest.total_seconds()
        return lasts and self.made <= at.timestamp() < self.until


class PolledPage(PageView):
    """The base of a page, or a part of one, that answers 304.

    `poll_name` names it in its tag. `longest` is how long a tag is good at most, should anything
    move that nobody thought of. `shows_messages`: it is a whole page, where a message may wait.
    """

    poll_name: ClassVar[str]
    longest: ClassVar[timedelta] = timedelta(minutes=1)
    shows_messages: ClassVar[bool] = False

    def known_caller(self, request: HttpRequest) -> Caller | None:
        """Return whose browser it is, by the tag that it sends along: one query asks everything.

        Whose sign-in it is, the sign-in says itself; where anything is not as it should be, the
        ordinary way says so. Raises NotAllowed where they may not see the page.
        """
        tag = tag_in(request.headers.get("If-None-Match", ""))
        key = request.COOKIES.get(settings.SESSION_COOKIE_NAME, "")
        if request.method != "GET" or tag is None or not key:
            return None
        row = signed_in_row(session_key=key, person_id=tag.person_id, at=now())
        if row is None:
            return None
        session = sessions().decode(row.session_data)
        if self.shows_messages and (
            MESSAGES_COOKIE in request.COOKIES or MESSAGES_IN_SESSION in session
        ):
            return None
        caller = caller_signed_in(row, session)
        if caller is None:
            return None
        name_in_log(caller)
        return caller if self.is_open_to(request, caller) else None

    def kept(self, request: HttpRequest, caller: Caller) -> HttpResponse | None:
        """Return 304 where the browser has the page as it would be made now."""
        tag = tag_in(request.headers.get("If-None-Match", ""))
        if tag is None or not tag.is_good(now(), self.longest):
            return None
        query = request.GET.urlencode()
        if tag.digest != self.digest(query, caller, tag.made, tag.until):
            return None
        return HttpResponseNotModified(headers={"ETag": str(tag)})

    def is_open_to(self, request: HttpRequest, caller: Caller) -> bool:
        """Return whether the caller may see the page. Raises NotAllowed where they may not."""
        access = self.access.get("GET")
        found = request.resolver_match
        if access is None or found is None or proof_asked(found.route, "GET") is not Proof.PIN:
            return False
        require(caller, access)
        return True

    def tag(self, query: str, caller: Caller, at: datetime, until: datetime) -> str:
        """Return the tag of what is made now and changes at `until`, if nothing happens before.

        The caller was read before what the page says, and their count of changes with them: a
        change in between has the browser ask once more, never keep an old page. Nothing where
        changes go uncounted, or something changes within the second.
        """
        made, last = int(at.timestamp()), int(min(until, at + self.longest).timestamp())
        if caller.person_id is None or last <= made or not_counted():
            return ""
        digest = self.digest(query, caller, made, last)
        return str(Tag(caller.person_id, made, last, digest))

    def tagged(
        self, response: HttpResponse, request: HttpRequest, caller: Caller, *moments: datetime
    ) -> HttpResponse:
        """Give an answer its tag: `moments` are when it was made and when it changes."""
        if tag := self.tag(request.GET.urlencode(), caller, *moments):
            response.headers["ETag"] = tag
        return response

    def digest(self, query: str, caller: Caller, made: int, until: int) -> str:
        """Return a digest of all that the page depends on."""
        facts = (
            release(), self.poll_name, query, caller.person_id, caller.organisation_id, caller.side,
            caller.role, caller.name, caller.pages_version, made, until,
        )  # fmt: skip
        return sha256("\0".join(str(fact) for fact in facts).encode()).hexdigest()[:32]


def tag_in(header: str) -> Tag | None:
    """Return the tag of ours that a browser sent, or None."""
    found = TAG.search(header)
    if found is None:
        return None
    person, made, until, digest = found.groups()
    return Tag(UUID(person), int(made, 16), int(until, 16), digest)


@cache
def sessions() -> SessionBase:
    """Return what reads sessions."""
    store: SessionBase = import_module(settings.SESSION_ENGINE).SessionStore()
    return store


_counted: list[bool] = []


def not_counted() -> bool:
    """Return whether changes may go uncounted here; asked until they are counted, then no more."""
    if not _counted and not triggers_missing():
        _counted.append(True)
    return not _counted
