"""A move that is allowed: recorded, and told of."""

from collections.abc import Sequence
from datetime import datetime

from accounts.caller import Caller
from jobs.work import events
from jobs.work.calc.stages.left_open import LeftOpen
from jobs.work.calc.stages.machine import (
    Kind,
    Stage,
    is_rework,
)
from jobs.work.models import HistoryEntry, Job
from jobs.work.selectors.jobs.reminders import (
    reminders_of,
)
from jobs.work.selectors.photographs import pairs_of, photo_links
from jobs.work.services.flow import flow_note
from jobs.work.services.jobs.recording import advance, event_tell, store


def move_record(
    job: Job,
    *,
    caller: Caller,
    to: Stage,
    occurred_at: datetime,
    reason: str = "",
    made_against: int | None = None,
    override: bool = False,
    before: Sequence[HistoryEntry] = (),
    left_open: LeftOpen | None = None,
) -> None:
    """Record a move that is allowed, on a job whose row is locked, and tell of it.

    `override`: a clock runs, and a manager lets the car pass. `before`: entries to store with it.
    `left_open`: what somebody confirmed to be open.
    """
    origin = Stage(job.stage)
    entry = advance(
        job,
        kind=Kind.MOVED,
        caller=caller,
        to=to,
        occurred_at=occurred_at,
        reason=reason,
        made_against=made_against,
        data={
            "override": override,
            "rework": is_rework(origin, to),
            **(left_open.noted() if left_open else {}),
        },
    )
    store(job, [*before, entry])
    if Stage.READY in {origin, to}:
        flow_note(job)
    _tell_moved(job, origin, to, reason=reason, override=override, occurred_at=occurred_at)


def _tell_moved(
    job: Job, origin: Stage, to: Stage, *, reason: str, override: bool, occurred_at: datetime
) -> None:
    data = {"job": events.job_data(job), "reason": reason, "override": override}
    moved = {**data, "from_stage": origin, "to_stage": to, "rework": is_rework(origin, to)}
    event_tell(events.JOB_STAGE_CHANGED, job, occurred_at, moved)
    if to is Stage.READY:
        pictures = [photo_links(pair) for pair in pairs_of(job)]
        more = {"pictures": pictures, "reminders": reminders_of(job)}
        event_tell(events.JOB_READY, job, occurred_at, {**data, **more})
