"""The walk-round on arrival and on leaving."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
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
from jobs.work.services.jobs.recording import advance, check, event_tell, store

MOST_WALK_ROUNDS = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class Damage:
    """Damage at one area."""

    area: str
    noticed: str
    photo_ids: Sequence[UUID] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class NewWalkRound:
    """What the car was like; None or empty is what was not looked at, the moment from now.

    `fuel` is what the car runs on, where that was said.
    """

    occasion: str
    mileage: int | None = None
    mileage_unit: str = ""
    fuel: str = ""
    fuel_percent: int | None = None
    charge_percent: int | None = None
    keys_count: int | None = None
    warning_lights: Sequence[str] = ()
    items: Mapping[str, str] = field(default_factory=dict)
    damage: Sequence[Damage] = ()
    notes: str = ""
    occurred_at: datetime | None = None


@transaction.atomic
def walk_round_record(*, caller: Caller, job_id: UUID, record: NewWalkRound) -> WalkRounds:
    """Record a walk-round; a later one of the same occasion corrects, and both stay.

    Returns what now stands. Raises InvalidRequest for a photograph the job does not have,
    Refused where the car is not here.
    """
    job = job_for_change(caller, job_id)
    check(job, refuse_noting(job.state))
    check(job, _refuse_more(job))
    photos_for(job, [photo_id for damage in record.damage for photo_id in damage.photo_ids])
    made = WalkRound.objects.create(
        job=job,
        occasion=record.occasion,
        mileage=record.mileage,
        mileage_unit=_unit(job, record),
        fuel_percent=record.fuel_percent,
        charge_percent=record.charge_percent,
        keys_count=record.keys_count,
        warning_lights=list(record.warning_lights),
        items=dict(record.items),
        damage=[_as_json(damage) for damage in record.damage],
        notes=record.notes,
        occurred_at=record.occurred_at or now(),
        recorded_at=now(),
        actor=caller.name,
        actor_person_id=caller.person_id,
    )
    job.fuel = record.fuel or job.fuel
    standing = walk_rounds_on(job)
    found = [difference.text for difference in standing.differences]
    _write_down_and_tell(job, caller, made, found, record.fuel)
    return standing


def _refuse_more(job: Job) -> Refusal | None:
    if job.walk_rounds.count() < MOST_WALK_ROUNDS:
        return None
    return Refusal(
        "too_many",
        f"This job has {MOST_WALK_ROUNDS} walk-rounds, which is the most.",
        "GET the job's walk-rounds to see what stands.",
    )


def _unit(job: Job, record: NewWalkRound) -> str:
    """Return the unit of the mileage: as said, else as last read on this car, else as ordered."""
    if record.mileage is None:
        return ""
    read = job.walk_rounds.exclude(mileage_unit="").order_by("-pk")
    before = "" if record.mileage_unit else read.values_list("mileage_unit", flat=True).first()
    return record.mileage_unit or before or job.mileage_unit or Job.MileageUnit.MILES


def _as_json(damage: Damage) -> dict[str, Any]:
    photo_ids = [str(photo_id) for photo_id in damage.photo_ids]
    return {"area": damage.area, "noticed": damage.noticed, "photo_ids": photo_ids}


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
    notice = {"job": events.job_data(job), **events.walk_round_data(made, found)}
    event_tell(events.WALK_ROUND_RECORDED, job, made.occurred_at, notice)
