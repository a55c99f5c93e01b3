"""Work orders: received from a dealer, accepted or declined, changed, cancelled."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.conf import settings
from django.db import IntegrityError, transaction

from accounts.caller import Caller
from accounts.models import TradeAccount
from accounts.selectors import trade_accounts_of
from core.clock import now
from core.ids import new_id
from core.left_out import LEFT_OUT, LeftOut, named, or_else
from core.problems import Conflict, InvalidRequest
from jobs.work import events
from jobs.work.calc.catalogue.workshop import Catalogue
from jobs.work.calc.stages.machine import Kind, refuse_closed, refuse_decision
from jobs.work.models import Job, ScopeChange, Task
from jobs.work.problems import DuplicateOrder, standing
from jobs.work.selectors.catalogue import Catalogues, catalogue_of
from jobs.work.selectors.jobs.jobs import job_for_change, open_twin
from jobs.work.services.catalogue import check_codes, order_refused
from jobs.work.services.jobs.recording import (
    advance,
    check,
    check_version,
    event_tell,
    store,
    tell_changed,
)
from jobs.work.services.orders.remarks import order_remarks
from jobs.work.services.requests.closing import open_requests_lapse
from jobs.work.services.tasks.scope import tasks_fit, tasks_for

FILLED_IN = ("mileage_unit", "cap_currency")


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderFields:
    """What a dealer says of a car and what to do to it, in its usual form.

    `registration_key` is how the registration is looked for; `cap_amount` is in `cap_currency`.
    """

    dealer_ref: str | LeftOut = LEFT_OUT
    registration: str | LeftOut = LEFT_OUT
    registration_key: str | LeftOut = LEFT_OUT
    vin: str | LeftOut = LEFT_OUT
    make: str | LeftOut = LEFT_OUT
    model: str | LeftOut = LEFT_OUT
    colour: str | LeftOut = LEFT_OUT
    first_registered: date | LeftOut | None = LEFT_OUT
    mileage: int | LeftOut | None = LEFT_OUT
    mileage_unit: str | LeftOut = LEFT_OUT
    body_size: str | LeftOut = LEFT_OUT
    fuel: str | LeftOut = LEFT_OUT
    purpose: str | LeftOut = LEFT_OUT
    operations: Sequence[str] | LeftOut = LEFT_OUT
    due_at: datetime | LeftOut | None = LEFT_OUT
    cap_minutes: int | LeftOut | None = LEFT_OUT
    cap_amount: Decimal | LeftOut | None = LEFT_OUT
    cap_currency: str | LeftOut = LEFT_OUT
    location: str | LeftOut = LEFT_OUT
    keys: str | LeftOut = LEFT_OUT
    supplied: Sequence[str] | LeftOut = LEFT_OUT
    contact_name: str | LeftOut = LEFT_OUT
    contact_phone: str | LeftOut = LEFT_OUT
    contact_email: str | LeftOut = LEFT_OUT
    notes: str | LeftOut = LEFT_OUT


@dataclass(frozen=True, slots=True, kw_only=True)
class NewOrder(OrderFields):
    """A work order; the workshop is named where the dealer deals with several."""

    workshop_id: UUID | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderChange(OrderFields):
    """A change of an order, made against a version of the job where one is named."""

    version: int | None = None


def work_order_receive(
    *, caller: Caller, order: NewOrder, catalogues: Catalogues | None = None
) -> Job:
    """Take a dealer's work order in; where the trade account says so, accept it at once.

    `catalogues` keeps those of a batch. Raises InvalidRequest for the choice of workshop and for
    operations it does not offer, and DuplicateOrder, showing the job there is.
    """
    account = account_ordered(caller, order.workshop_id)
    catalogue = (catalogues or Catalogues()).of(account.workshop_id)
    check_codes(order_refused(catalogue, or_else(order.operations, ())))
    ordered = named(order)
    del ordered["workshop_id"]
    job = Job(
        id=new_id(),
        dealer_id=account.dealer_id,
        workshop_id=account.workshop_id,
        received_at=now(),
        **ordered,
    )
    try:
        with transaction.atomic():
            return _receive(job, caller, catalogue, by_itself=account.accepts_by_itself)
    except IntegrityError as error:
        raise _duplicate(job, error) from error


def _receive(job: Job, caller: Caller, catalogue: Catalogue, *, by_itself: bool) -> Job:
    moment = job.received_at
    _complete(job)
    operations = catalogue.orderable(job.operations)
    job.remarks = order_remarks(job, at=moment, mark_region=settings.MARK_REGION)
    entries = [
        advance(
            job,
            kind=Kind.RECEIVED,
            caller=caller,
            occurred_at=moment,
            data={"operations": job.operations, "remarks": job.remarks},
        )
    ]
    received = {
        "job": events.job_data(job),
        "remarks": job.remarks,
        "operations": [operation.code for operation in operations],
    }
    if by_itself:
        entries.append(
            advance(
                job,
                kind=Kind.ACCEPTED,
                caller=caller,
                occurred_at=moment,
                data={"by_itself": True},
            )
        )
    store(job, entries, fresh=True)
    Task.objects.bulk_create(tasks_for(job, operations))
    event_tell(events.WORK_ORDER_RECEIVED, job, moment, received)
    if by_itself:
        accepted = {"job": events.job_data(job), "by_itself": True}
        event_tell(events.WORK_ORDER_ACCEPTED, job, moment, accepted)
    return job


def account_ordered(caller: Caller, workshop_id: UUID | None) -> TradeAccount:
    """Return the trade account that an order comes by. Raises InvalidRequest for the choice."""
    accounts = list(trade_accounts_of(dealer_id=caller.organisation_id))
    if workshop_id is not None:
        accounts = [account for account in accounts if account.workshop_id == workshop_id]
    if len(accounts) == 1:
        return accounts[0]
    if not accounts:
        message = "You have no open trade account with this workshop."
    else:
        named = ", ".join(
            f"{account.workshop.name} ({account.workshop_id})" for account in accounts
        )
        message = f"You have several workshops; name one of: {named}."
    raise InvalidRequest(
        f"workshop_id: {message}",
        next_step="Look at /api/v1/trade-accounts for the workshops you deal with.",
        errors=[{"field": "workshop_id", "message": message}],
    )


def _duplicate(job: Job, error: IntegrityError) -> Exception:
    twin = open_twin(job)
    if twin is None and "unique" in str(error).lower():
        return Conflict(
            "The other order for this vehicle or dealer_ref was closed at this very moment.",
            next_step="Send the request again.",
        )
    if twin is None:
        return error
    return DuplicateOrder(
        f"Job {twin.pk} is open for the same vehicle or dealer_ref.",
        extra={"existing_job_id": str(twin.pk), **standing(twin)},
    )


@transaction.atomic
def work_order_decide(
    *, caller: Caller, job_id: UUID, accept: bool, reason: str = "", occurred_at: datetime
) -> Job:
    """Accept or decline an order that the trade account left to the workshop."""
    job = job_for_change(caller, job_id)
    check(job, refuse_decision(job.state))
    kind = Kind.ACCEPTED if accept else Kind.DECLINED
    entry = advance(job, kind=kind, caller=caller, occurred_at=occurred_at, reason=reason)
    store(job, [entry])
    data = {"job": events.job_data(job)}
    if accept:
        event_tell(events.WORK_ORDER_ACCEPTED, job, occurred_at, {**data, "by_itself": False})
    else:
        event_tell(events.WORK_ORDER_DECLINED, job, occurred_at, {**data, "reason": reason})
    return job


def work_order_change(*, caller: Caller, job_id: UUID, change: OrderChange) -> Job:
    """Change what was ordered; the old values stay in the history.

    An operation no longer wanted is dropped only where its task was not begun. A change that
    changes nothing leaves no trace. Raises Refused, StaleVersion, DuplicateOrder, and
    InvalidRequest for operations that the workshop does not offer.
    """
    job = Job(pk=job_id)
    try:
        with transaction.atomic():
            job = job_for_change(caller, job_id)
            check_version(job, change.version)
            check(job, refuse_closed(job.state))
            return _change(job, caller, change)
    except IntegrityError as error:
        raise _duplicate(job, error) from error


def _change(job: Job, caller: Caller, change: OrderChange) -> Job:
    moment, changes = now(), named(change)
    del changes["version"]
    before = {name: getattr(job, name) for name in (*changes, *FILLED_IN)}
    ordered_before = job.operations
    catalogue = catalogue_of(job.workshop_id) if "operations" in changes else None
    if catalogue is not None:
        check_codes(order_refused(catalogue, changes["operations"], ordered_before))
    for name, value in changes.items():
        setattr(job, name, value)
    _complete(job)
    differences = [
        {"field": name, "was": was, "now": getattr(job, name)}
        for name, was in before.items()
        if getattr(job, name) != was
    ]
    if not differences:
        return job
    job.remarks = order_remarks(job, at=moment, mark_region=settings.MARK_REGION)
    if catalogue is not None:
        job.remarks += tasks_fit(job, ordered_before, catalogue)
    shown = [
        _as_json(difference)
        for difference in differences
        if difference["field"] != "registration_key"
    ]
    entry = advance(
        job,
        kind=Kind.CHANGED,
        caller=caller,
        occurred_at=moment,
        made_against=change.version,
        data={"changes": shown},
    )
    store(job, [entry])
    if job.arrived_at is not None:
        ScopeChange.objects.create(job=job, entry=entry)
    tell_changed(job, moment, shown)
    return job


def _complete(job: Job) -> None:
    """Fill in what follows from the order as a whole; refuse what does not fit together."""
    if job.mileage is not None and not job.mileage_unit:
        job.mileage_unit = Job.MileageUnit.MILES.value
    if job.cap_amount is not None and not job.cap_currency:
        job.cap_currency = settings.CURRENCY
    field, message = "", ""
    if not (job.registration or job.vin):
        field = "registration"
        message = "Registration or VIN must stay: without either nobody can find the car."
    elif job.cap_minutes is not None and job.cap_amount is not None:
        field, message = (
            "cap_minutes",
            "Cap the minutes or the amount, not both; null takes one off.",
        )
    if message:
        raise InvalidRequest(f"{field}: {message}", errors=[{"field": field, "message": message}])


def _as_json(difference: Mapping[str, Any]) -> dict[str, Any]:
    def plain(value: Any) -> Any:
        if value is None or isinstance(value, (str, int, list)):
            return value
        if hasattr(value, "isoformat"):
            return str(value.isoformat()).replace("+00:00", "Z")
        return str(value)

    return {name: plain(value) for name, value in difference.items()}


@transaction.atomic
def work_order_cancel(*, caller: Caller, job_id: UUID, reason: str = "") -> Job:
    """Cancel an order; a car already at the workshop still has to be collected."""
    job = job_for_change(caller, job_id)
    check(job, refuse_closed(job.state))
    open_requests_lapse(job, reason="The order was cancelled.")
    moment = now()
    entry = advance(job, kind=Kind.CANCELLED, caller=caller, occurred_at=moment, reason=reason)
    store(job, [entry])
    data = {"job": events.job_data(job), "reason": reason}
    event_tell(events.WORK_ORDER_CANCELLED, job, moment, data)
    return job
