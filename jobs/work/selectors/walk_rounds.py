"""The walk-rounds of a job, and what differs between arrival and leaving."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Q

from accounts.caller import Caller
from jobs.work.calc.car.areas import AREAS
from jobs.work.calc.findings import Weight
from jobs.work.calc.walk_rounds import (
    Damage,
    Difference,
    Distance,
    LightOffer,
    Presence,
    Record,
    Unit,
    differences,
    light_offers,
    remark_mileage,
)
from jobs.work.models import Finding, Job, Photo, WalkRound
from jobs.work.selectors.jobs.jobs import jobs_of, no_such_job
from jobs.work.selectors.photographs import photos_of


@dataclass(frozen=True, slots=True)
class WalkRounds:
    """What stands for arrival and for leaving, what was corrected, and what differs."""

    arrival: WalkRound | None
    leaving: WalkRound | None
    earlier: Sequence[WalkRound]
    differences: Sequence[Difference]
    remarks: Sequence[str]
    photos: dict[str, Photo]
    offers: Sequence[LightOffer]


def walk_rounds_of(caller: Caller, job_id: UUID) -> WalkRounds:
    """Return the walk-rounds of one of the caller's jobs. Raises NotFound."""
    job = jobs_of(caller).filter(pk=job_id).first()
    if job is None:
        raise no_such_job()
    return walk_rounds_on(job)


def walk_rounds_on(job: Job) -> WalkRounds:
    """Return the walk-rounds of a job: of each occasion the last one counts."""
    rows = list(WalkRound.objects.filter(job=job).order_by("pk"))
    last = {row.occasion: row for row in rows}
    arrival = last.get(WalkRound.Occasion.ARRIVAL)
    leaving = last.get(WalkRound.Occasion.LEAVING)
    return WalkRounds(
        arrival=arrival,
        leaving=leaving,
        earlier=[row for row in rows if row is not last[row.occasion]],
        differences=differences(as_record(arrival), as_record(leaving))
        if arrival and leaving
        else [],
        remarks=list(_remarks(job, arrival)),
        photos=damage_photos(job, rows),
        offers=_light_offers(job, rows),
    )


def _light_offers(job: Job, rows: Sequence[WalkRound]) -> list[LightOffer]:
    """Return what to report of the newest walk-round's lights; no query where none is red."""
    offers = light_offers(rows[-1].warning_lights if rows else (), ())
    if not offers:
        return []
    # One that was over before this walk-round does not speak of a light that is lit again.
    stops = Finding.objects.filter(
        Q(over_at__isnull=True) | Q(over_at__gte=rows[-1].recorded_at),
        job=job,
        weight=Weight.DO_NOT_DRIVE.value,
    )
    reported = set(stops.values_list("area", flat=True))
    return [offer for offer in offers if offer.area not in reported]


def damage_photos(job: Job, rows: Sequence[WalkRound]) -> dict[str, Photo]:
    """Return the photographs that the rows' damage names, by id as text."""
    named = {photo_id for row in rows for damage in row.damage for photo_id in damage["photo_ids"]}
    if not named:
        return {}
    return {str(photo.pk): photo for photo in photos_of(job).filter(pk__in=named)}


def as_record(row: WalkRound) -> Record:
    """Return the row as the sums read it."""
    return Record(
        mileage=_distance(row.mileage, row.mileage_unit),
        fuel_percent=row.fuel_percent,
        charge_percent=row.charge_percent,
        keys_count=row.keys_count,
        warning_lights=frozenset(row.warning_lights),
        items={code: Presence(was) for code, was in row.items.items()},
        damage=[Damage(AREAS[damage["area"]].name, damage["noticed"]) for damage in row.damage],
    )


def _remarks(job: Job, arrival: WalkRound | None) -> Iterator[str]:
    """Yield what is doubtful about the arrival beside the order."""
    if arrival is not None:
        ordered = _distance(job.mileage, job.mileage_unit)
        found = _distance(arrival.mileage, arrival.mileage_unit)
        if remark := remark_mileage(ordered, found):
            yield remark


def _distance(amount: int | None, unit: str) -> Distance | None:
    return Distance(amount, Unit(unit or Unit.MILES)) if amount is not None else None
