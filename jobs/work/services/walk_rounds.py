"""The walk-round on arrival and on leaving."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from accounts.caller import Caller
from core.clock import now
from jobs.work import events
from jobs.work.calc.stages.machine import Kind, Refusal, refuse_noting
from jobs.work.models import Job, WalkRound
from jobs.work.selectors.jobs.jobs import job_for_change
from jobs.work.selectors.photographs import photos_for
from jobs.work.selectors.walk_rounds import WalkRounds, walk_rounds_on
from jobs.work.services.jobs.recording import advance, check, store, tell

MOST_WALK_ROUNDS = 50


@transaction.atomic
def walk_round_record(
    *,
    caller: Caller,
    job_id: UUID,
    record: Mapping[str, Any],
    occurred_at: datetime,
    fuel: str = "",
) -> WalkRounds:
    """Record a walk-round; a later one of the same occasion corrects, and both stay.

    `record` holds the fields of WalkRound, `fuel` what the car runs on where that was said.
    Returns what now stands. Raises InvalidRequest for a photograph the job does not have,
    Refused where the car is not here.
    """
    job = job_for_change(caller, job_id)
    check(job, refuse_noting(job.state))
    check(job, _refuse_more(job))
    photos_for(job, [one for damage in record["damage"] for one in damage["photo_ids"]])
    made = WalkRound.objects.create(
        job=job,
        occurred_at=occurred_at,
        recorded_at=now(),
        actor=caller.name,
        actor_person_id=caller.person_id,
        **{
            **record,
            "mileage_unit": _unit(job, record),
            "damage": [_as_json(damage) for damage in record["damage"]],
        },
    )
    job.fuel = fuel or job.fuel
    standing = walk_rounds_on(job)
    found = [one.text for one in standing.differences]
    _write_down_and_tell(job, caller, made, found, fuel)
    return standing


def _refuse_more(job: Job) -> Refusal | None:
    if job.walk_rounds.count() < MOST_WALK_ROUNDS:
        return None
    return Refusal(
        "too_many",
        f"This job has {MOST_WALK_ROUNDS} walk-rounds, which is the most.",
        "GET the job's walk-rounds to see what stands.",
    )


def _unit(job: Job, record: Mapping[str, Any]) -> str:
    """Return the unit of the mileage: as said, else as last read on this car, else as ordered."""
    if record["mileage"] is None:
        return ""
    read = job.walk_rounds.exclude(mileage_unit="").order_by("-pk")
    before = "" if record["mileage_unit"] else read.values_list("mileage_unit", flat=True).first()
    return record["mileage_unit"] or before or job.mileage_unit or Job.MileageUnit.MILES


def _as_json(damage: Mapping[str, Any]) -> dict[str, Any]:
    return {**damage, "photo_ids": [str(one) for one in damage["photo_ids"]]}


def _write_down_and_tell(
    job: Job, caller: Caller, made: WalkRound, found: list[str], fuel: str
) -> None:
    if made.occasion != WalkRound.Occasion.LEAVING:
        found = []
    data = {
        "walk_round_id": str(made.pk),
        "occasion": made.occasion,
        "mileage": made.mileage,
        "mileage_unit": made.mileage_unit,
        "keys_count": made.keys_count,
        "damage": len(made.damage),
        "differences": found,
        **({"fuel": fuel} if fuel else {}),
    }
    entry = advance(
        job,
        kind=Kind.WALKED_ROUND,
        caller=caller,
        occurred_at=made.occurred_at,
        data=data,
    )
    store(job, [entry])
    told = {"job": events.job_data(job), **events.walk_round_data(made, found)}
    tell(events.WALK_ROUND_RECORDED, job, made.occurred_at, told)
