"""Paint: readings and tests taken, machine passes done, what was noted wrongly set aside."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar
from uuid import UUID

from django.db import transaction

from accounts.caller import Caller
from core.clock import now
from core.problems import NotFound
from jobs.work.calc.car.areas import PANELS
from jobs.work.calc.paint.correction import Allowance, Work, fits
from jobs.work.calc.paint.film import WHOLE_CAR, FilmAnswer
from jobs.work.calc.paint.survey import Spot
from jobs.work.calc.paint.system import Look, PadTest, PaintSystem
from jobs.work.calc.stages.machine import Kind, Refusal, refuse_noting
from jobs.work.models import FilmCheck, Job, PaintTest, PassesDone, SpotReading
from jobs.work.problems import Refused, standing
from jobs.work.selectors.jobs.jobs import job_for_change
from jobs.work.selectors.paint import PaintRecord, paint_of_job
from jobs.work.services.jobs.recording import advance, check, store

SetAside = TypeVar("SetAside", SpotReading, PaintTest, PassesDone)
MOST_SPOTS = 600
MOST_TESTS = 200
MOST_FILM_CHECKS = 200
MOST_PASSES_ENTRIES = 400


@dataclass(frozen=True, slots=True)
class NotedSpot:
    """A spot with the note that came with it."""

    spot: Spot
    note: str = ""


@transaction.atomic
def spots_read(
    *, caller: Caller, job_id: UUID, spots: Sequence[NotedSpot], occurred_at: datetime
) -> list[SpotReading]:
    """Record spot readings. Raises Refused where a panel was of another material before."""
    job = job_for_change(caller, job_id)
    check(job, refuse_noting(job.state))
    there = job.spot_readings.filter(set_aside_at__isnull=True)
    check(job, _refuse_more(job.spot_readings.count() + len(spots), MOST_SPOTS, "spot readings"))
    check(job, _refuse_material(spots, dict(there.values_list("panel", "material"))))
    readings = [
        SpotReading(
            job=job,
            panel=spot.spot.panel,
            material=spot.spot.material.value,
            readings=list(spot.spot.readings),
            microns=spot.spot.microns if spot.spot.readings else None,
            note=spot.note,
            **_stamp(caller, occurred_at),
        )
        for spot in spots
    ]
    SpotReading.objects.bulk_create(readings)
    data = {
        "spots": [
            {"id": str(reading.pk), "panel": reading.panel, "microns": _short(reading.microns)}
            for reading in readings
        ]
    }
    _write_down(job, Kind.PAINT_READ, caller, occurred_at, data)
    return readings


@transaction.atomic
def note_set_aside(
    *,
    caller: Caller,
    job_id: UUID,
    kind: type[SetAside],
    note_id: UUID,
    reason: str,
    occurred_at: datetime,
) -> SetAside:
    """Leave a reading, a test or passes noted wrongly out of the survey.

    Raises NotFound, Refused where that was done before.
    """
    job = job_for_change(caller, job_id)
    check(job, refuse_noting(job.state))
    note = kind.objects.filter(job=job, pk=note_id).first()
    if note is None:
        raise NotFound("This job has no such note of its paint.")
    if note.set_aside_at is not None:
        said = f"This was set aside before: {note.set_aside_reason}"
        check(job, Refusal("set_aside", said, "Nothing is to be done."))
    note.set_aside_at, note.set_aside_reason = occurred_at, reason
    note.save(update_fields=["set_aside_at", "set_aside_reason"])
    data = {"set_aside": str(note.pk), "panel": note.panel}
    step = Kind.PASSES_DONE if isinstance(note, PassesDone) else Kind.PAINT_READ
    _write_down(job, step, caller, occurred_at, data, reason=reason)
    return note


@transaction.atomic
def paint_tested(
    *, caller: Caller, job_id: UUID, test: PadTest, occurred_at: datetime, note: str = ""
) -> PaintTest:
    """Record a rub with a pad or cloth, what is seen, and what water did to the colour."""
    job = job_for_change(caller, job_id)
    check(job, refuse_noting(job.state))
    check(job, _refuse_more(job.paint_tests.count() + 1, MOST_TESTS, "paint tests"))
    made = PaintTest.objects.create(
        job=job,
        panel=test.panel,
        pad_colour=test.pad_colour.value,
        rubbed_with=test.rubbed_with.value,
        white_paint=test.white_paint,
        look=test.look.value,
        faded=test.look is Look.FADED,
        darkens_when_wet=test.darkens_when_wet,
        note=note,
        **_stamp(caller, occurred_at),
    )
    data = {
        "test_id": str(made.pk),
        "panel": made.panel,
        "pad_colour": made.pad_colour,
        "rubbed_with": made.rubbed_with,
        "look": made.look,
    }
    _write_down(job, Kind.PAINT_READ, caller, occurred_at, data)
    return made


@transaction.atomic
def film_checked(
    *,
    caller: Caller,
    job_id: UUID,
    film: FilmAnswer,
    occurred_at: datetime,
    panel: str = WHOLE_CAR,
    note: str = "",
) -> FilmCheck:
    """Record whether a film or wrap lies on a panel, or on the whole car; the latest counts."""
    job = job_for_change(caller, job_id)
    check(job, refuse_noting(job.state))
    check(job, _refuse_more(job.film_checks.count() + 1, MOST_FILM_CHECKS, "film checks"))
    made = FilmCheck.objects.create(
        job=job, panel=panel, film=film.value, note=note, **_stamp(caller, occurred_at)
    )
    data = {"film_check_id": str(made.pk), "panel": panel, "film": made.film}
    _write_down(job, Kind.PAINT_READ, caller, occurred_at, data)
    return made


@transaction.atomic
def passes_do(
    *,
    caller: Caller,
    job_id: UUID,
    panel: str,
    kind: PassesDone.Kind,
    passes: int,
    occurred_at: datetime,
    reason: str = "",
) -> PassesDone:
    """Record machine passes over a panel.

    What the conservative allowance does not cover, or no reading of paint supports, needs a reason;
    it is then recorded with the warning. Raises Refused with the allowance where the reason is
    missing.
    """
    job = job_for_change(caller, job_id)
    check(job, refuse_noting(job.state))
    check(job, _refuse_more(job.passes_done.count() + 1, MOST_PASSES_ENTRIES, "machine passes"))
    record = paint_of_job(job)
    allowance = record.allowance_of(panel)
    warning = _warning(record, panel, kind, passes)
    if warning and not reason:
        raise _reason_needed(job, warning, allowance)
    made = PassesDone.objects.create(
        job=job,
        panel=panel,
        kind=kind.value,
        passes=passes,
        warning=warning,
        reason=reason,
        **_stamp(caller, occurred_at),
    )
    data = {
        "passes_id": str(made.pk),
        "panel": panel,
        "kind": kind.value,
        "passes": passes,
        "warning": warning,
    }
    _write_down(job, Kind.PASSES_DONE, caller, occurred_at, data, reason=reason)
    return made


def _warning(record: PaintRecord, panel: str, kind: PassesDone.Kind, passes: int) -> str:
    """Return what speaks against the passes, or nothing."""
    name, allowance = PANELS[panel].name, record.allowance_of(panel)
    if allowance is None:
        return record.no_allowance_because(panel)
    cutting = kind is PassesDone.Kind.CUT
    if fits(allowance, Work(cut=passes) if cutting else Work(finish=passes)):
        return ""
    left = allowance.conservative
    allowed = left.cut_passes if cutting else left.finish_passes
    top = "colour" if allowance.system is PaintSystem.SINGLE_STAGE else "clear coat"
    return (
        f"By the conservative figure the film of the {name} allows {allowed} more {kind.label} "
        f"passes, not {passes}: about {left.microns:.1f} microns can still be removed; more risks "
        f"going through the {top}."
    )


def _reason_needed(job: Job, warning: str, allowance: Allowance | None) -> Refused:
    shown = None
    if allowance is not None:
        shown = {
            name: {
                "microns": round(left.microns, 1),
                "cut_passes": left.cut_passes,
                "finish_passes": left.finish_passes,
            }
            for name, left in (
                ("conservative", allowance.conservative),
                ("hopeful", allowance.hopeful),
            )
        }
        shown["assumption"] = allowance.assumption  # type: ignore[assignment]
    return Refused(
        warning,
        next_step=(
            "Measure first, check for a film, do less, or send a reason: it is recorded with "
            "this warning."
        ),
        extra={
            "code": "reason_needed",
            "warning": warning,
            "allowance": shown,
            **standing(job),
        },
    )


def _refuse_material(spots: Sequence[NotedSpot], before: dict[str, str]) -> Refusal | None:
    for spot in spots:
        was = before.get(spot.spot.panel, spot.spot.material.value)
        if was != spot.spot.material.value:
            name = PANELS[spot.spot.panel].name
            return Refusal(
                "other_material",
                f"The {name} was recorded as {was} before, and cannot be "
                f"{spot.spot.material} as well.",
                "Correct the material, or set the earlier readings aside first.",
            )
    return None


def _refuse_more(count: int, most: int, what: str) -> Refusal | None:
    if count <= most:
        return None
    return Refusal(
        "too_many", f"A job takes no more than {most} {what}.", "Note the rest with the job."
    )


def _stamp(caller: Caller, occurred_at: datetime) -> dict[str, Any]:
    return {
        "occurred_at": occurred_at,
        "recorded_at": now(),
        "actor": caller.name,
        "actor_person_id": caller.person_id,
    }


def _short(microns: float | None) -> float | None:
    return None if microns is None else round(microns, 1)


def _write_down(
    job: Job,
    kind: Kind,
    caller: Caller,
    occurred_at: datetime,
    data: dict[str, Any],
    *,
    reason: str = "",
) -> None:
    entry = advance(
        job, kind=kind, caller=caller, occurred_at=occurred_at, reason=reason, data=data
    )
    store(job, [entry])
