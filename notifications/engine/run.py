"""One run of the engine: publish, claim, hand over, record, until nothing is due.

While anything is in flight the run looks for new work every POLL_SECONDS, so neither a slow
receiver nor a batch delays a fresh event. Database work is done by one thread of the run's own,
whose connection ends with the run: nothing is pooled across a worker's forks.
"""

import asyncio
import random
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import partial
from typing import TypeVar
from uuid import UUID

import aiohttp
import structlog
from django.conf import settings
from django.db import DatabaseError, connections

from core.clock import now
from core.outbound.session import open_session
from core.stopping import is_stopping
from core.tracing import attempt_span
from notifications.engine.answer import Answer
from notifications.engine.claim import Claim, Claimed, claim, due_endpoints, give_back
from notifications.engine.letters import send_letter
from notifications.engine.places import Room
from notifications.engine.post import post
from notifications.engine.schedule import after_failure
from notifications.engine.telling import attempt_tell
from notifications.models import Endpoint
from notifications.selectors import events_wait_for_position
from notifications.services.health import disabled_message, message_send
from notifications.services.publish import events_publish
from notifications.services.results import Recorded, Result, results_record
from notifications.services.secrets import UnreadableSecretError, secrets_for_signing
from notifications.services.wake import wake_deliverer

Value = TypeVar("Value")
log = structlog.get_logger(__name__)

POLL_SECONDS = 0.05
# A run ends some time, so that a worker can be recycled and its task stays far below its limit.
RUN_SECONDS = 20.0
# Past that, it claims on only where something in flight is slow: a run that did nothing but wait
# for one receiver would keep its worker from everybody else. The task's hard limit is 300 s.
SLOW_SECONDS = 0.5
LONGEST_RUN_SECONDS = 200.0
# How often in one run an endpoint that asked us to slow down is tried.
SLOWED_SPACING_SECONDS = 1.0
PUBLISHED_AT_ONCE = 500
# How long one of our threads may keep the interpreter: at the usual 5 ms the database's thread
# waits that long after every answer of the server while the loop is busy posting.
SWITCH_SECONDS = 0.0005
# A name that takes long to look up holds one of these threads.
LOOK_UP_THREADS = 32
# When the worker stops, what is in flight may still end; the rest is given back.
LEAVING_SECONDS = 5.0
# How long a notice waits for a key that this worker does not have; another may have it.
KEY_PAUSE_SECONDS = 60
RECORDING_WAITS_SECONDS = (0.2, 0.5, 1.0, 2.0, 4.0)
FAULT = "The service could not make this notice; its operator finds the fault in the log."


@dataclass(slots=True)
class RunReport:
    """What a run did; `time_is_up`: it ended although more may be due."""

    delivered: int = 0
    failed: int = 0
    time_is_up: bool = False


def anything_due() -> bool:
    """Return whether a run would find something to do: two looks at indexes."""
    return events_wait_for_position() or bool(due_endpoints(now()))


def deliver() -> RunReport:
    """Deliver what is due and return when nothing is, or when the run has lasted long enough."""
    usual = sys.getswitchinterval()
    sys.setswitchinterval(SWITCH_SECONDS)
    try:
        return asyncio.run(DeliveryRun().run())
    finally:
        sys.setswitchinterval(usual)


class DeliveryRun:
    """The state of one run."""

    def __init__(self) -> None:
        self._began = time.monotonic()
        self._database = ThreadPoolExecutor(1, "delivery-database")
        self._mail = ThreadPoolExecutor(settings.DELIVERY_CONCURRENCY, "delivery-mail")
        self._flying: dict[asyncio.Task[Result], tuple[Claimed, float]] = {}
        self._ended: list[asyncio.Task[Result]] = []
        self._enough = 1
        self._recruited = False
        self._enough_ended = asyncio.Event()
        self._resting: dict[UUID, float] = {}
        self._messages: list[asyncio.Future[bool]] = []
        self._trouble: DatabaseError | None = None
        self._leaving_since: float | None = None
        self._key_missed = False
        self._report = RunReport()

    async def run(self) -> RunReport:
        """Run to the end. Raises DatabaseError where the database failed; leases then run out."""
        loop = asyncio.get_running_loop()
        loop.set_default_executor(ThreadPoolExecutor(LOOK_UP_THREADS, "delivery-names"))
        try:
            async with open_session() as session:
                while await self._turn(session) and not self._must_leave():
                    pass
                await self._give_back()
            await asyncio.gather(*self._messages)
        finally:
            for task in self._flying:
                task.cancel()
            await asyncio.gather(*self._flying, return_exceptions=True)
            await loop.run_in_executor(self._database, connections.close_all)
            self._database.shutdown()
            self._mail.shutdown(wait=False)
        if self._trouble is not None:
            raise self._trouble
        self._report.time_is_up = self._elapsed() >= RUN_SECONDS
        return self._report

    async def _turn(self, session: aiohttp.ClientSession) -> bool:
        """Record what has ended, start what is due, wait a little; False when all is done."""
        ended, self._ended = self._ended, []
        await self._record(ended)
        found = await self._claim()
        for item in found.claimed:
            task = asyncio.create_task(self._hand_over(session, item))
            task.add_done_callback(self._note_ended)
            self._flying[task] = (item, time.monotonic())
        if self._flying:
            await self._until_many_ended()
        elif found.look_again:
            await asyncio.sleep(POLL_SECONDS)
        return bool(self._flying) or found.look_again

    def _note_ended(self, task: asyncio.Task[Result]) -> None:
        self._ended.append(task)
        if len(self._ended) >= self._enough:
            self._enough_ended.set()

    async def _until_many_ended(self) -> None:
        """Wait until half of what is in flight has ended, but no longer than POLL_SECONDS.

        Recording and claiming cost the same for one as for many, so a turn is worth waiting for
        company, and one that ends alone waits for a moment only.
        """
        self._enough = max(1, len(self._flying) // 2)
        if len(self._ended) >= self._enough:
            return
        self._enough_ended.clear()
        with suppress(TimeoutError):
            async with asyncio.timeout(POLL_SECONDS):
                await self._enough_ended.wait()

    def _must_leave(self) -> bool:
        """Return whether the worker stops, and what was in flight then has had its time."""
        if not is_stopping():
            return False
        self._leaving_since = self._leaving_since or time.monotonic()
        return time.monotonic() - self._leaving_since >= LEAVING_SECONDS

    async def _give_back(self) -> None:
        """Leave what is still in flight to whoever claims next; no attempt is spent on it."""
        if not self._flying or self._trouble is not None:
            return
        for task in self._flying:
            task.cancel()  # nothing, to one that has ended
        await asyncio.gather(*self._flying, return_exceptions=True)
        self._ended.clear()
        await self._record([task for task in self._flying if not task.cancelled()])
        left = [item for item, _ in self._flying.values()]
        self._flying.clear()
        log.warning("deliveries_given_back", deliveries=len(left))
        await self._in_database(partial(give_back, left))

    def _may_claim(self) -> bool:
        elapsed = self._elapsed()
        if is_stopping() or self._trouble is not None or elapsed >= LONGEST_RUN_SECONDS:
            return False
        slow_since = time.monotonic() - SLOW_SECONDS
        return elapsed < RUN_SECONDS or any(
            started < slow_since for _, started in self._flying.values()
        )

    async def _claim(self) -> Claim:
        """Publish and claim. Where the database fails, claim no more but end what is in flight."""
        if not self._may_claim():
            return Claim()
        room = Room.of(
            places=settings.DELIVERY_CONCURRENCY,
            in_flight=len(self._flying),
            frail_in_flight=sum(item.frail for item, _ in self._flying.values()),
        )
        moment = time.monotonic()
        resting = {endpoint_id for endpoint_id, until in self._resting.items() if until > moment}
        try:
            work = partial(_publish_and_claim, room, resting)
            found = await self._in_database(work)
        except DatabaseError as error:
            log.exception("delivery_claim_failed")
            self._trouble = error
            return Claim()
        if is_stopping():  # while it was claimed: nothing of it is begun
            await self._in_database(partial(give_back, found.claimed))
            return Claim()
        if len(found.claimed) >= room.kept and not self._recruited:
            self._recruited = True
            wake_deliverer()  # more than one run's worth is due: let an idle worker join in
        for item in found.claimed:
            if item.slowed:
                self._resting[item.endpoint.pk] = moment + SLOWED_SPACING_SECONDS
        return found

    async def _hand_over(self, session: aiohttp.ClientSession, item: Claimed) -> Result:
        with attempt_span(f"notice by {item.endpoint.channel}", item.trace, _about(item)) as span:
            answer = await self._tried(session, item)
            span.ended(status=answer.status, reason=answer.reason)
        if answer.ours and not self._key_missed:
            self._key_missed = True
            log.error("field_key_missing", endpoint_id=str(item.endpoint.pk), says=answer.error)
        return _result(item, answer)

    async def _tried(self, session: aiohttp.ClientSession, item: Claimed) -> Answer:
        """Return what came of handing over; what goes wrong within us is an Answer too."""
        try:
            return await self._answer(session, item)
        except UnreadableSecretError as error:
            return Answer(now(), 0, error=str(error), reason="key_missing", ours=True)
        except Exception:
            # One notice that cannot be made must not keep the others from being sent.
            log.exception("delivery_fault", delivery_id=str(item.delivery_id))
            return Answer(now(), 0, error=FAULT, reason="fault")

    async def _answer(self, session: aiohttp.ClientSession, item: Claimed) -> Answer:
        notice, endpoint = item.notice, item.endpoint
        if endpoint.channel == Endpoint.Channel.EMAIL:
            loop = asyncio.get_running_loop()
            return await loop.run_in_executor(self._mail, send_letter, notice, endpoint.address)
        secrets = secrets_for_signing(endpoint, now())
        return await post(session, url=endpoint.address, notice=notice, secrets=secrets)

    async def _record(self, ended: Sequence[asyncio.Task[Result]]) -> None:
        """Record what has ended, trying again for a while where the database fails."""
        if not ended:
            return
        results = [task.result() for task in ended]
        for wait in (*RECORDING_WAITS_SECONDS, None):
            try:
                work = partial(results_record, results=results)
                recorded = await self._in_database(work)
                break
            except DatabaseError:
                if wait is None:
                    raise
                log.warning("delivery_recording_tried_again", results=len(results), exc_info=True)
                await asyncio.sleep(wait)
        failed = sum(1 for result in results if result.error)
        self._report.failed += failed
        self._report.delivered += len(results) - failed
        await self._tell(recorded)
        for task in ended:
            item, _ = self._flying.pop(task)
            attempt_tell(item, task.result())

    async def _tell(self, recorded: Recorded) -> None:
        """Send word of endpoints disabled just now, beside the deliveries."""
        loop = asyncio.get_running_loop()
        for endpoint in recorded.disabled:
            message = await self._in_database(partial(disabled_message, endpoint=endpoint))
            sending = partial(message_send, message=message, endpoint=endpoint)
            self._messages.append(loop.run_in_executor(self._mail, sending))

    async def _in_database(self, work: Callable[[], Value]) -> Value:
        return await asyncio.get_running_loop().run_in_executor(self._database, _guarded, work)

    def _elapsed(self) -> float:
        return time.monotonic() - self._began


def _about(item: Claimed) -> dict[str, str | int]:
    """Return what a trace says of an attempt."""
    return {
        "shutline.endpoint_id": str(item.endpoint.pk),
        "shutline.delivery_id": str(item.delivery_id),
        "shutline.event_type": item.notice.type,
        "shutline.tries": item.tries + 1,
    }


def _publish_and_claim(room: Room, resting: set[UUID]) -> Claim:
    published = events_publish(limit=PUBLISHED_AT_ONCE)
    found = claim(room=room, resting=resting)
    # A full batch may have been of events nobody wants, with wanted ones behind them.
    return replace(found, look_again=found.look_again or published == PUBLISHED_AT_ONCE)


def _guarded(work: Callable[[], Value]) -> Value:
    """Do work in the database's thread; after a failure the next one begins on a new connection."""
    try:
        return work()
    except DatabaseError:
        connections.close_all()
        raise


def _result(item: Claimed, answer: Answer) -> Result:
    result = Result(
        delivery_id=item.delivery_id,
        endpoint_id=item.endpoint.pk,
        lease=item.lease,
        started_at=answer.started_at,
        milliseconds=answer.milliseconds,
        status=answer.status,
        answer=answer.text,
        error=answer.error,
        reason=answer.reason,
    )
    if not answer.error:
        return result
    if answer.ours:
        return replace(result, postponed_until=now() + timedelta(seconds=KEY_PAUSE_SECONDS))
    verdict = after_failure(
        tries=item.tries + 1,
        waits_seconds=settings.RETRY_SECONDS,
        status=answer.status,
        retry_after=answer.retry_after,
        at=now(),
        spread=random.uniform(-1, 1),  # noqa: S311  no secret
    )
    return replace(
        result,
        next_attempt_at=verdict.next_attempt_at,
        slow_until=verdict.slow_until,
        gone=verdict.gone,
    )
