"""A range of events again, with progress: piece by piece, then until the last has arrived.

What is under way is kept in the address, signed, and nowhere else: closing the page loses the view
of it, not the notices. The next piece is sent off by the page itself, or by "Go on" where no
script runs.
"""

from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from typing import Any, ClassVar, Self
from urllib.parse import urlencode
from uuid import UUID

from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.utils.safestring import SafeString
from django.utils.timezone import localtime

from accounts.caller import Access, Caller
from core.clock import now
from core.epoch import epoch_number
from core.forms import Field, PageForm
from core.problems import InvalidRequest, Problem, Restored
from notifications.inputs import RangeReplayInput
from notifications.models import Endpoint
from notifications.pages.base import (
    MANAGE,
    TEMPLATES,
    EndpointPage,
    part,
    part_answer,
    with_buttons,
)
from notifications.pages.kinds import type_choices
from notifications.selectors.overview import Progress, replay_progress
from notifications.services.replay import Replayed, range_replay

SALT = "notifications.pages.replay"
OFFERED_BACK = timedelta(hours=24)
A_MINUTE = timedelta(minutes=1)
HTMX = "HX-Request"


@dataclass(frozen=True, slots=True)
class Run:
    """A replay under way: what was asked for, and how far it has come."""

    endpoint_id: str
    since: str
    until: str
    event_types: tuple[str, ...]
    only_failed: bool
    started_at: str
    cursor: int = 0
    count: int = 0
    more: bool = True
    epoch: int = 0  # that its cursor is of

    def signed(self) -> str:
        """Return it as it rides in an address."""
        return signing.dumps(asdict(self), salt=SALT, compress=True)

    @classmethod
    def read(cls, text: str, endpoint_id: UUID) -> Self:
        """Return what was signed for this endpoint. Raises InvalidRequest for anything else."""
        try:
            kept = signing.loads(text, salt=SALT)
        except signing.BadSignature:
            kept = {}
        if kept.get("endpoint_id") != str(endpoint_id):
            raise InvalidRequest(
                "This address of a replay is not whole.",
                next_step="Go back to the list of notices; what was sent again is on its way.",
            )
        return cls(**{**kept, "event_types": tuple(kept["event_types"])})

    @property
    def range(self) -> dict[str, Any]:
        """Return which events are meant."""
        return {
            "since": datetime.fromisoformat(self.since),
            "until": datetime.fromisoformat(self.until),
            "event_types": self.event_types,
        }

    def further(self, done: Replayed) -> "Run":
        """Return it after one more piece."""
        count = self.count + done.count
        return replace(self, cursor=done.cursor, count=count, more=done.more)

    def progress(self, endpoint: Endpoint) -> Progress:
        """Return what became so far of what it set on its way."""
        started_at = datetime.fromisoformat(self.started_at)
        return replay_progress(endpoint, **self.range, upto=self.cursor, started_at=started_at)


class ReplayPage(EndpointPage):
    """What the pages of a replay share."""

    def next_piece(self, caller: Caller, run: Run) -> Run:
        """Set the next piece on its way, and return how far it has come. Raises Restored."""
        if run.epoch != epoch_number():
            raise Restored(
                "The service was restored from a backup since this began.",
                next_step="Begin again: choose the range once more on the endpoint's page.",
            )
        done = range_replay(
            caller=caller,
            channel=self.kind.channel,
            endpoint_id=UUID(run.endpoint_id),
            only_failed=run.only_failed,
            after=run.cursor,
            **run.range,
        )
        return run.further(done)

    def about(self, endpoint: Endpoint, run: Run) -> dict[str, Any]:
        """Return what the page and its part say of a replay."""
        token = run.signed()
        return {
            "endpoint": endpoint,
            "kind": self.kind,
            "run": run,
            "token": token,
            "progress": run.progress(endpoint),
            "range": run.range,
            "back": self.kind.to(endpoint),
            "failed_url": f"{self.kind.to(endpoint)}?state=failed",
            "next_url": self.kind.to(endpoint, "replay_next"),
            "part_url": f"{self.kind.to(endpoint, 'replay_part')}?{urlencode({'run': token})}",
        }

    def address(self, endpoint_id: UUID, run: Run) -> str:
        """Return where the replay is shown."""
        endpoint = Endpoint(pk=endpoint_id)
        return f"{self.kind.to(endpoint, 'replay')}?{urlencode({'run': run.signed()})}"

    def counted(self, endpoint: Endpoint, run: Run) -> tuple[SafeString, str, bool]:
        """Return the part with the counts, its tag, and whether nothing waits any more."""
        about = self.about(endpoint, run)
        html, tag = part("replay_counts.html", **about)
        return html, tag, not about["progress"].waiting and not run.more


class RangeReplay(ReplayPage):
    """The form for a range; with a run in the address, how far that has come."""

    form_template = "replay.html"

    def get(self, request: HttpRequest, caller: Caller, endpoint_id: UUID) -> HttpResponse:
        """Show the form, or the progress."""
        endpoint = self.endpoint(caller, endpoint_id)
        if "run" not in request.GET:
            return self.show_form(request, caller, endpoint, replay_form(endpoint))
        run = Run.read(request.GET["run"], endpoint_id)
        html, tag, ended = self.counted(endpoint, run)
        about = {**self.about(endpoint, run), "part": html, "tag": tag, "ended": ended}
        return self.show(request, caller, "replay_progress.html", **about)

    def post(self, request: HttpRequest, caller: Caller, endpoint_id: UUID) -> HttpResponse:
        """Set the first piece on its way, and go on to the progress."""
        endpoint = self.endpoint(caller, endpoint_id)
        form = PageForm(RangeReplayInput, replay_fields(endpoint), typed=request.POST)
        if not form.is_valid():
            return self.show_form(request, caller, endpoint, form, 400)
        try:
            run = self.next_piece(caller, new_run(endpoint_id, form.values))
        except Problem as problem:
            with_buttons(problem)
            form.add_problem(problem)
            return self.show_form(request, caller, endpoint, form, problem.status)
        return self.done(request, self.address(endpoint_id, run))


class ReplayNext(ReplayPage):
    """The next piece of a range."""

    http_method_names = ["post"]
    access: ClassVar[dict[str, Access]] = {"POST": MANAGE}

    def post(self, request: HttpRequest, caller: Caller, endpoint_id: UUID) -> HttpResponse:
        """Set it on its way; the page's script gets the new counts, a browser the page."""
        endpoint = self.endpoint(caller, endpoint_id)
        if "run" not in request.POST:
            return self.done(request, self.kind.to(endpoint, "replay"))
        run = Run.read(request.POST["run"], endpoint_id)
        if HTMX not in request.headers:
            further = self.next_piece(caller, run) if run.more else run
            return self.done(request, self.address(endpoint_id, further))
        try:
            run = self.next_piece(caller, run) if run.more else run
        except Problem as problem:
            return self._going(request, endpoint, run, with_buttons(problem))
        if run.more:
            return self._going(request, endpoint, run)
        response = HttpResponse()
        response.headers["HX-Redirect"] = self.address(endpoint_id, run)
        return response

    def _going(
        self, request: HttpRequest, endpoint: Endpoint, run: Run, problem: Exception | None = None
    ) -> HttpResponse:
        """Answer the script with the counts, and the form that goes on by itself or by a tap."""
        html, _, _ = self.counted(endpoint, run)
        about = {**self.about(endpoint, run), "part": html, "problem": problem}
        response = HttpResponse(render_to_string(f"{TEMPLATES}/replay_going.html", about, request))
        response.headers["HX-Replace-Url"] = self.address(endpoint.pk, run)
        return response


class ReplayPart(ReplayPage):
    """The counts alone, asked for until nothing waits any more."""

    http_method_names = ["get", "head"]

    def get(self, request: HttpRequest, caller: Caller, endpoint_id: UUID) -> HttpResponse:
        """Show them, unless they are as they were."""
        endpoint = self.endpoint(caller, endpoint_id)
        if "run" not in request.GET:
            return self.done(request, self.kind.to(endpoint, "replay"))
        run = Run.read(request.GET["run"], endpoint_id)
        html, tag, ended = self.counted(endpoint, run)
        return part_answer(request, html, tag, ended=ended)


def new_run(endpoint_id: UUID, asked: dict[str, Any]) -> Run:
    """Return a replay that begins now; what happens from now on is sent anyway."""
    at = now()
    return Run(
        endpoint_id=str(endpoint_id),
        since=asked["since"].isoformat(),
        until=min(asked["until"], at).isoformat(),
        event_types=tuple(asked["event_types"]),
        only_failed=asked["only_failed"],
        started_at=at.isoformat(),
        epoch=epoch_number(),
    )


def replay_fields(endpoint: Endpoint) -> list[Field]:
    """Return the fields of the form."""
    taken = set(endpoint.event_types)
    types = [choice for choice in type_choices() if not taken or choice[0] in taken]
    return [
        Field("from", "From", "datetime", required=True),
        Field("to", "Until", "datetime", required=True),
        Field(
            "only_failed",
            "Only what did not arrive",
            "checkbox",
            hint="What happened while it was off counts as well. Without the tick, everything is "
            "sent again; a receiver that remembers ids acts once.",
        ),
        Field(
            "event_types", "Which notices", "checks", hint="Tick none for all it takes.",
            choices=types,
        ),
    ]  # fmt: skip


def replay_form(endpoint: Endpoint) -> PageForm:
    """Return the form as it is offered: from the first failure, or a day ago, until now."""
    begun = endpoint.failing_since or now() - OFFERED_BACK
    standing = {"from": begun, "to": localtime(now() + A_MINUTE), "only_failed": True}
    return PageForm(RangeReplayInput, replay_fields(endpoint), standing=standing)
