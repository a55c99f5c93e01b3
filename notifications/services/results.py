"""Records what came of a batch of attempts, and what it says about the endpoints' health."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import F, Q

from core.clock import now
from core.ids import new_id
from notifications.models import Attempt, Delivery, Endpoint
from notifications.services.health import endpoint_disable
from notifications.services.rows import Row, rows_insert

ERROR_LENGTH = 300
ATTEMPT_COLUMNS = (
    "id", "delivery", "started_at", "status", "milliseconds", "answer", "error",
)  # fmt: skip
GONE_REASON = "The receiver answered 410: it does not want these notices any more."


@dataclass(frozen=True, slots=True)
class Result:
    """What came of one attempt. An empty `error` means that the notice arrived."""

    delivery_id: UUID
    endpoint_id: UUID
    lease: datetime
    started_at: datetime
    milliseconds: int
    status: int | None = None
    answer: str = ""
    error: str = ""
    reason: str = ""  # the error's class, as in Answer
    next_attempt_at: datetime | None = None  # None after a failure: that was the last attempt
    slow_until: datetime | None = None
    gone: bool = False
    # Nothing was sent, by a fault of the operator's: looked at again then, and no attempt is spent.
    postponed_until: datetime | None = None


@dataclass(frozen=True, slots=True)
class Recorded:
    """Which deliveries were still ours to record, and which endpoints were disabled just now."""

    held: Collection[UUID]
    disabled: Sequence[Endpoint]


def results_record(*, results: Sequence[Result]) -> Recorded:
    """Record a batch of attempts in one transaction, then the endpoints' health.

    A delivery whose lease was lost meanwhile belongs to somebody else: the attempt is kept, the
    delivery is left as it is. Health follows in transactions of its own, so that this never holds
    deliveries while it waits for an endpoint, which others lock the other way round.
    """
    at = now()
    spent = [result for result in results if result.postponed_until is None]
    with transaction.atomic():
        leases = dict(
            Delivery.objects.select_for_update(no_key=True)
            .filter(pk__in=[result.delivery_id for result in results])
            .order_by("pk")
            .values_list("pk", "claimed_until")
        )
        attempts = [_attempt(result) for result in spent if result.delivery_id in leases]
        rows_insert(Attempt, ATTEMPT_COLUMNS, attempts)
        held = [result for result in results if leases.get(result.delivery_id) == result.lease]
        _arrived([result for result in held if not result.error], at)
        for result in held:
            if result.postponed_until is not None:
                _postponed(result)
            elif result.error:
                _failed(result, at)
    return Recorded({result.delivery_id for result in held}, _health(spent, at))


def _attempt(result: Result) -> Row:
    return (
        new_id(), result.delivery_id, result.started_at, result.status, result.milliseconds,
        result.answer, result.error[:ERROR_LENGTH],
    )  # fmt: skip


def _arrived(results: Sequence[Result], at: datetime) -> None:
    by_status: defaultdict[int | None, list[UUID]] = defaultdict(list)
    for result in results:
        by_status[result.status].append(result.delivery_id)
    for status, ids in by_status.items():
        Delivery.objects.filter(pk__in=ids).update(
            state=Delivery.State.DELIVERED,
            tries=F("tries") + 1,
            claimed_until=None,
            last_status=status,
            last_error="",
            finished_at=at,
        )


def _postponed(result: Result) -> None:
    Delivery.objects.filter(pk=result.delivery_id).update(
        claimed_until=None,
        last_error=result.error[:ERROR_LENGTH],
        next_attempt_at=result.postponed_until,
    )


def _failed(result: Result, at: datetime) -> None:
    given_up = result.next_attempt_at is None
    Delivery.objects.filter(pk=result.delivery_id).update(
        state=Delivery.State.FAILED if given_up else Delivery.State.WAITING,
        tries=F("tries") + 1,
        claimed_until=None,
        last_status=result.status,
        last_error=result.error[:ERROR_LENGTH],
        next_attempt_at=result.next_attempt_at or F("next_attempt_at"),
        finished_at=at if given_up else None,
    )


def _health(results: Sequence[Result], at: datetime) -> list[Endpoint]:
    """Note which endpoints work and which fail, touching only rows that change.

    Results come in the order in which the attempts ended, so an endpoint's last one decides.
    """
    _recovered({result.endpoint_id for result in results if not result.error})
    last = {result.endpoint_id: result for result in results}
    failing = {endpoint_id for endpoint_id, result in last.items() if result.error}
    if not failing:
        return []
    fresh = Endpoint.objects.filter(pk__in=failing, failing_since=None)
    fresh.update(failing_since=at)
    for result in last.values():
        if result.slow_until is not None:
            Endpoint.objects.filter(
                Q(slowed_until=None) | Q(slowed_until__lt=result.slow_until), pk=result.endpoint_id
            ).update(slowed_until=result.slow_until)
    gone = {result.endpoint_id for result in results if result.gone}
    disabled = (
        endpoint_disable(endpoint_id=endpoint_id, reason=GONE_REASON)
        for endpoint_id in sorted(gone)
    )
    return [endpoint for endpoint in disabled if endpoint is not None]


def _recovered(ids: Collection[UUID]) -> None:
    failing = Endpoint.objects.filter(pk__in=ids, failing_since__isnull=False)
    if failing.exists():  # looked at first: on SQLite even an empty update waits to write
        failing.update(failing_since=None, warned_at=None)
