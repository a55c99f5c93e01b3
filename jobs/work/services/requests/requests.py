"""Requests for extra work: opened, asked about, replied to, answered, withdrawn."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.conf import settings
from django.db import transaction
from django.utils.timezone import localtime

from accounts.caller import Caller, Scope
from core.clock import now
from core.problems import InvalidRequest
from jobs.work import events
from jobs.work.calc.stages.machine import Kind, Refusal, refuse_work
from jobs.work.models import Hold, Job, RequestMessage, WorkRequest
from jobs.work.problems import LinkUsed, request_closed, request_standing
from jobs.work.selectors.catalogue import catalogue_of
from jobs.work.selectors.jobs.jobs import job_for_change
from jobs.work.selectors.photographs import photo_links, photos_for
from jobs.work.selectors.requests.links import decision_url
from jobs.work.selectors.requests.requests import request_for_change
from jobs.work.services.catalogue import check_codes, work_refused
from jobs.work.services.holds import hold_open
from jobs.work.services.jobs.recording import advance, check, event_tell, store
from jobs.work.services.requests.closing import approve, close, lapse
from notifications.catalogue import EventType
from notifications.letter import Letter

APPROVE, DECLINE, ASK = "approve", "decline", "ask"
OUTCOMES = {APPROVE: WorkRequest.State.APPROVED, DECLINE: WorkRequest.State.DECLINED}
ONE_USE = "Each link answers once, needs no sign-in, and is meant for you alone."


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """Extra work that a workshop proposes; with `hold` the car waits for the answer.

    `operations` are codes, `minutes` for all of them; `currency` is ISO 4217, the service's own
    where it is empty. `occurred_at` None is now.
    """

    what: str
    why: str
    if_not_done: str
    operations: Sequence[str]
    minutes: int
    answer_by: datetime
    hold: bool
    price: Decimal | None = None
    currency: str = ""
    photo_ids: Sequence[UUID] = ()
    occurred_at: datetime | None = None


@transaction.atomic
def request_open(*, caller: Caller, job_id: UUID, proposal: Proposal) -> WorkRequest:
    """Propose extra work to the dealer.

    Raises Refused, and InvalidRequest for a price by somebody who may not see prices or for
    operations that the workshop does not do.
    """
    job = job_for_change(caller, job_id)
    check(job, refuse_work(job.state))
    check_codes(work_refused(catalogue_of(job.workshop_id), proposal.operations))
    currency = _currency(caller, proposal)
    photos = photos_for(job, proposal.photo_ids)
    occurred_at, held = proposal.occurred_at or now(), None
    if proposal.hold:
        reason = f"Waiting for an answer: {proposal.what}"
        held = hold_open(
            job,
            caller=caller,
            cause=Hold.Cause.DECISION.value,
            occurred_at=occurred_at,
            reason=reason,
        )
    request = WorkRequest.objects.create(
        job=job,
        hold=held,
        opened_at=occurred_at,
        recorded_at=now(),
        actor=caller.name,
        actor_person_id=caller.person_id,
        what=proposal.what,
        why=proposal.why,
        if_not_done=proposal.if_not_done,
        operations=list(proposal.operations),
        minutes=proposal.minutes,
        price=proposal.price,
        currency=currency,
        answer_by=proposal.answer_by,
    )
    request.photos.set(photos)
    data = {
        "request_id": str(request.pk),
        "what": request.what,
        "operations": request.operations,
        "minutes": request.minutes,
    }
    _write_down(job, Kind.REQUEST_OPENED, caller, occurred_at, data)
    _tell_proposal(events.REQUEST_OPENED, job, request, occurred_at, {})
    return request


def _currency(caller: Caller, proposal: Proposal) -> str:
    """Return the currency of the price, where it has one.

    Raises InvalidRequest where somebody names a price who may not see prices.
    """
    if proposal.price is None:
        return proposal.currency
    if not caller.may(Scope.PRICES):
        message = "A manager names the price; leave it out, or let a manager open the request."
        raise InvalidRequest(f"price: {message}", errors=[{"field": "price", "message": message}])
    return proposal.currency or settings.CURRENCY


def request_answer(
    *,
    caller: Caller,
    request_id: UUID,
    answer: str,
    note: str = "",
    occurred_at: datetime,
    way: str = WorkRequest.Way.API.value,
    in_round: int | None = None,
) -> WorkRequest:
    """Approve, decline or ask, for the dealer; `note` is the question where it asks.

    `in_round` is the round a link was made for: one answer ends it. After `answer_by` the request
    lapses, whatever is answered. Raises RequestClosed with what stands, or LinkUsed.
    """
    with transaction.atomic():
        job, request = request_for_change(caller, request_id)
        if _in_time(job, request):
            if in_round not in {None, request.round}:
                raise LinkUsed(
                    "This link was used before, or there is a newer one.",
                    extra={"code": "link_used", "current": request_standing(request)},
                )
            if answer == ASK:
                _ask(job, request, caller=caller, question=note, occurred_at=occurred_at)
            else:
                state = OUTCOMES[answer]
                _decide(job, request, state, caller=caller, note=note, way=way, at=occurred_at)
            return request
    raise request_closed(request)


def _in_time(job: Job, request: WorkRequest) -> bool:
    """Return whether the request is open; one whose time is up lapses at this moment.

    The caller raises request_closed only after its transaction, so that the lapse stays.
    """
    if request.state == WorkRequest.State.OPEN and request.answer_by <= now():
        lapse(job, request)
    return request.state == WorkRequest.State.OPEN


def _decide(
    job: Job,
    request: WorkRequest,
    state: WorkRequest.State,
    *,
    caller: Caller,
    note: str,
    way: str,
    at: datetime,
) -> None:
    moment = close(job, request, state=state, caller=caller, occurred_at=at, note=note, way=way)
    tasks = []
    if state is WorkRequest.State.APPROVED:
        tasks = approve(job, request, caller=caller, occurred_at=moment)
    data = {
        "job": events.job_data(job),
        **events.what_of(request),
        "outcome": state.value,
        "way": way,
        "by": caller.name,
        "note": note,
        "tasks": events.tasks_data(tasks),
    }
    event_tell(events.REQUEST_ANSWERED, job, moment, data)


def _ask(
    job: Job, request: WorkRequest, *, caller: Caller, question: str, occurred_at: datetime
) -> None:
    _say(request, RequestMessage.Side.DEALER, question, caller, occurred_at)
    data = {"request_id": str(request.pk), "question": question}
    _write_down(job, Kind.REQUEST_ASKED, caller, occurred_at, data)
    notice = {**events.what_of(request), "question": question, "by": caller.name}
    event_tell(events.REQUEST_ASKED, job, occurred_at, {"job": events.job_data(job), **notice})


def request_reply(
    *,
    caller: Caller,
    request_id: UUID,
    text: str,
    answer_by: datetime | None = None,
    occurred_at: datetime,
) -> WorkRequest:
    """Reply to the dealer's question, and give more time to answer where that is wanted."""
    with transaction.atomic():
        job, request = request_for_change(caller, request_id)
        if _in_time(job, request):
            last = request.messages.order_by("pk").last()
            if last is None or last.side != RequestMessage.Side.DEALER:
                check(job, Refusal("no_question", "No question waits here.", "Nothing is to do."))
            _say(request, RequestMessage.Side.WORKSHOP, text, caller, occurred_at)
            if answer_by is not None:
                request.answer_by = answer_by
                request.save(update_fields=["answer_by"])
            data = {"request_id": str(request.pk), "reply": text}
            _write_down(job, Kind.REQUEST_REPLIED, caller, occurred_at, data)
            words = {"question": last.text if last else "", "reply": text}
            _tell_proposal(events.REQUEST_REPLIED, job, request, occurred_at, words)
            return request
    raise request_closed(request)


def request_withdraw(
    *, caller: Caller, request_id: UUID, reason: str, occurred_at: datetime
) -> WorkRequest:
    """Withdraw a request that is not answered yet."""
    with transaction.atomic():
        job, request = request_for_change(caller, request_id)
        if _in_time(job, request):
            moment = close(
                job,
                request,
                state=WorkRequest.State.WITHDRAWN,
                caller=caller,
                occurred_at=occurred_at,
                note=reason,
            )
            data = {"job": events.job_data(job), **events.what_of(request), "reason": reason}
            event_tell(events.REQUEST_WITHDRAWN, job, moment, data)
            return request
    raise request_closed(request)


def _say(
    request: WorkRequest,
    side: RequestMessage.Side,
    text: str,
    caller: Caller,
    occurred_at: datetime,
) -> None:
    """Keep a message, and raise the round: links of the round before answer no more."""
    RequestMessage.objects.create(
        request=request, side=side, text=text, occurred_at=occurred_at, actor=caller.name
    )
    request.round += 1
    request.save(update_fields=["round"])


def _write_down(
    job: Job, kind: Kind, caller: Caller, occurred_at: datetime, data: Mapping[str, Any]
) -> None:
    entry = advance(job, kind=kind, caller=caller, occurred_at=occurred_at, data=data)
    store(job, [entry])


def _tell_proposal(
    kind: EventType,
    job: Job,
    request: WorkRequest,
    occurred_at: datetime,
    words: Mapping[str, Any],
) -> None:
    """Tell the dealer what is proposed, with a letter for its e-mails that can be answered."""
    photos = request.photos.order_by("pk").prefetch_related("renditions")
    pictures = [photo_links(photo) for photo in photos]
    proposal = events.proposal_data(request, pictures)
    event_tell(
        kind,
        job,
        occurred_at,
        {"job": events.job_data(job), **proposal, **words},
        also_to=[job.contact_email] if job.contact_email else (),
        letter=_letter(request, pictured=bool(pictures)),
    )


def _letter(request: WorkRequest, *, pictured: bool) -> Letter:
    price = "not named" if request.price is None else f"{request.price:.2f} {request.currency}"
    until = f"{localtime(request.answer_by):%a %-d %b %Y, %H:%M}"
    url = decision_url(request)
    shows = " The page shows the pictures." if pictured else ""
    how = f"Follow a link below until {until}.{shows} {ONE_USE}"
    return Letter(
        facts=(("Price", price), ("To answer", how)),
        links=(
            ("Approve", f"{url}#approve"),
            ("Decline", f"{url}#decline"),
            ("Ask a question", f"{url}#ask"),
        ),
    )
