"""Tells the operator of each attempt: in numbers, and in a line where it failed."""

from datetime import timedelta

import structlog

from core.clock import now
from notifications.engine.claim import Claimed
from notifications.numbers import ARRIVED, ATTEMPT_SECONDS, ATTEMPTS, DELAY
from notifications.services.results import Result

log = structlog.get_logger(__name__)


def attempt_tell(item: Claimed, result: Result) -> None:
    """Count an attempt that was recorded, and write a line where it failed.

    The line names the endpoint and the delivery by id, never the address or what was answered.
    """
    channel = item.endpoint.channel
    ATTEMPTS.labels(channel, result.reason or ARRIVED).inc()
    if result.postponed_until is None:
        ATTEMPT_SECONDS.labels(channel).observe(result.milliseconds / 1000)
        ended_at = result.started_at + timedelta(milliseconds=result.milliseconds)
        DELAY.observe(max((ended_at - item.due_at).total_seconds(), 0.0))
    if not result.error or result.postponed_until is not None:
        return  # what was put off was no attempt: `field_key_missing` says it once a run
    next_try = result.next_attempt_at
    log.info(
        "delivery_failed",
        delivery_id=str(item.delivery_id),
        endpoint_id=str(item.endpoint.pk),
        channel=channel,
        type=item.notice.type,
        reason=result.reason,
        status=result.status,
        duration_ms=result.milliseconds,
        tries=item.tries + 1,
        next_try_in_seconds=round((next_try - now()).total_seconds()) if next_try else None,
    )
