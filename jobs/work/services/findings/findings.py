"""Findings: reported by the workshop, acknowledged by the dealer.

A "do not drive" goes out at once by every channel and holds the job until it is over, which is
recorded in `do_not_drive.py`.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from accounts.caller import Caller, Scope, Side
from core.clock import now
from core.left_out import LEFT_OUT, LeftOut
from core.problems import FieldError, InvalidRequest, NotAllowed
from jobs.work import events
from jobs.work.calc.findings import FindingKind, Weight
from jobs.work.calc.stages.machine import Kind, Refusal, refuse_noting, refuse_work
from jobs.work.models import Belonging, Finding, Hold, Job, Photo
from jobs.work.selectors.findings.findings import finding_of
from jobs.work.selectors.findings.phrases import phrase_of
from jobs.work.selectors.jobs.jobs import job_for_change
from jobs.work.selectors.photographs import photo_links, photos_for
from jobs.work.services.holds import hold_open
from jobs.work.services.jobs.recording import advance, check, event_tell, store

MOST_FINDINGS = 300
HELD_BECAUSE = "Do not drive: nobody moves the car until it is repaired or will be transported."
ACKNOWLEDGED = (
    "acknowledged_at",
    "acknowledged_by",
    "acknowledged_side",
    "acknowledged_told",
    "acknowledged_note",
)
FROM_PHRASE = ("kind", "weight", "noticed", "circumstance", "advice")


@dataclass(frozen=True, slots=True, kw_only=True)
class NewBelonging:
    """A thing with the place it is kept, or data; `wiped` is of data only, None: not known yet."""

    what: str
    kept_at: str = ""
    wiped: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NewFinding:
    """Something noticed; what is left out comes from the ready phrase, the moment from now."""

    area: str
    kind: str | LeftOut = LEFT_OUT
    weight: str | LeftOut = LEFT_OUT
    noticed: str | LeftOut = LEFT_OUT
    circumstance: str | LeftOut = LEFT_OUT
    advice: str | LeftOut = LEFT_OUT
    phrase: str = ""
    photo_ids: Sequence[UUID] = ()
    from_paint_survey: bool = False
    belonging: NewBelonging | None = None
    occurred_at: datetime | None = None


@transaction.atomic
def finding_report(*, caller: Caller, job_id: UUID, report: NewFinding) -> Finding:
    """Write down what was noticed, and tell the dealer.

    Raises InvalidRequest with every wrong field, and Refused where the car is not here.
    """
    job = job_for_change(caller, job_id)
    check(job, refuse_noting(job.state))
    check(job, _refuse_more(job))
    said = _said(caller, report)
    photos = _photos_checked(job, report.photo_ids, _wrong_about(said, report.belonging))
    finding = Finding.objects.create(
        job=job,
        area=report.area,
        from_paint_survey=report.from_paint_survey,
        occurred_at=report.occurred_at or now(),
        recorded_at=now(),
        actor=caller.name,
        actor_person_id=caller.person_id,
        told_to=next(iter(contact_of(job)), "") if _stops(said) else "",
        **said,
    )
    finding.photos.set(photos)
    if report.belonging is not None:
        _keep(finding, report.belonging)
    job.do_not_drive = job.do_not_drive or finding.must_not_be_driven
    _write_down(job, caller, finding)
    pictures = [photo_links(photo) for photo in photos]
    _tell_reported(job, finding, pictures)
    if finding.weight == Weight.DO_NOT_DRIVE:
        _hold(job, caller, finding)
    return finding_of(caller, finding.pk)


def _stops(said: Mapping[str, Any]) -> bool:
    return bool(said["weight"] == Weight.DO_NOT_DRIVE)


def _refuse_more(job: Job) -> Refusal | None:
    if job.findings.count() < MOST_FINDINGS:
        return None
    return Refusal(
        "too_many",
        f"This job has {MOST_FINDINGS} findings, which is the most.",
        "Tell the dealer directly what is left.",
    )


def _said(caller: Caller, report: NewFinding) -> dict[str, Any]:
    """Return what the finding says: as reported, the rest from the phrase."""
    words = {name: getattr(report, name) for name in FROM_PHRASE}
    words = {name: word for name, word in words.items() if word is not LEFT_OUT}
    if not report.phrase:
        return words
    phrase = phrase_of(caller.organisation_id, report.phrase)
    if phrase is None:
        message = f"There is no phrase {report.phrase}; GET /api/v1/phrases lists them."
        raise wrong("phrase", message)
    return {**{name: getattr(phrase, name) for name in FROM_PHRASE}, **words}


def _wrong_about(said: Mapping[str, Any], belonging: NewBelonging | None) -> Iterator[FieldError]:
    """Yield what does not fit together, which only shows once the phrase has filled in its part."""
    about_belongings = said["kind"] == FindingKind.BELONGINGS
    if about_belongings and belonging is None:
        yield {"field": "belonging", "message": "Say what was found and where it is kept."}
    if belonging is not None and not about_belongings:
        yield {
            "field": "belonging",
            "message": "Only a finding of the kind belongings has this.",
        }
    if about_belongings and said["weight"] == Weight.DO_NOT_DRIVE:
        message = "Belongings keep no car off the road; report what does as another kind."
        yield {"field": "weight", "message": message}


def _photos_checked(
    job: Job, photo_ids: Sequence[UUID], wrong: Iterable[FieldError]
) -> list[Photo]:
    """Return the photographs, or raise InvalidRequest with everything that is wrong."""
    errors = list(wrong)
    try:
        photos = photos_for(job, photo_ids)
    except InvalidRequest as problem:
        errors += problem.errors
    if errors:
        raise InvalidRequest(" ".join(error["message"] for error in errors), errors=errors)
    return photos


def wrong(field: str, message: str) -> InvalidRequest:
    """Return the problem of one field."""
    return InvalidRequest(f"{field}: {message}", errors=[{"field": field, "message": message}])


def _keep(finding: Finding, belonging: NewBelonging) -> None:
    Belonging.objects.create(
        finding=finding,
        wiped_at=finding.occurred_at if belonging.wiped is not None else None,
        **asdict(belonging),
    )


def _write_down(job: Job, caller: Caller, finding: Finding) -> None:
    """Put the finding into the history; of belongings only that there are some."""
    report = events.finding_data(finding, [])
    data = {name: report[name] for name in ("kind", "weight", "area", "noticed", "circumstance")}
    entry = advance(
        job,
        kind=Kind.FINDING,
        caller=caller,
        occurred_at=finding.occurred_at,
        data={"finding_id": str(finding.pk), **data},
    )
    store(job, [entry])


def _tell_reported(job: Job, finding: Finding, pictures: Sequence[dict[str, Any]]) -> None:
    """Tell the dealer; a "do not drive" at once, everywhere, and behind no earlier notice."""
    data = {"job": events.job_data(job), **events.finding_data(finding, pictures)}
    if finding.weight != Weight.DO_NOT_DRIVE:
        event_tell(events.FINDING_REPORTED, job, finding.occurred_at, data)
        return
    event_tell(
        events.FINDING_REPORTED,
        job,
        finding.occurred_at,
        data,
        subject_id=finding.pk,
        urgent=True,
        also_to=contact_of(job),
    )


def contact_of(job: Job) -> list[str]:
    """Return the address that is told of a "do not drive" in any case, if there is one."""
    contact = job.contact_email or job.dealer.contact_email
    return [contact] if contact else []


def _hold(job: Job, caller: Caller, finding: Finding) -> None:
    """Hold the job until the finding is over.

    Where the order was cancelled no work goes on that could be held; the car still cannot be
    collected in silence, which `refuse_collection` sees to.
    """
    if refuse_work(job.state) is not None:
        return
    finding.hold = hold_open(
        job,
        caller=caller,
        cause=Hold.Cause.DECISION,
        occurred_at=finding.occurred_at,
        reason=HELD_BECAUSE,
    )
    finding.save(update_fields=["hold"])


@transaction.atomic
def finding_acknowledge(
    *,
    caller: Caller,
    finding_id: UUID,
    occurred_at: datetime | None,
    note: str = "",
    told: str = "",
) -> Finding:
    """Record that the dealer knows; the hold of a "do not drive" stays until that is over.

    The dealer acknowledges for itself; a manager of the workshop does it where the dealer was
    told by telephone, and says whom. The first acknowledgement stands: repeating it changes
    nothing and returns what stands, so that a tap that was not answered can be sent again.
    """
    _check_may_acknowledge(caller, told)
    job = job_for_change(caller, finding_of(caller, finding_id).job_id)
    finding = finding_of(caller, finding_id)  # again, now that nobody else can change it
    if finding.acknowledged_at is None:
        moment = moment_of(finding, occurred_at)
        acknowledged(job, finding, caller=caller, moment=moment, note=note, whom=told)
    return finding


def moment_of(finding: Finding, occurred_at: datetime | None) -> datetime:
    """Return when something was said about a finding. Raises InvalidRequest before it was found.

    A tablet's clock may be a little ahead of ours.
    """
    moment = occurred_at or max(now(), finding.occurred_at)
    if moment < finding.occurred_at:
        message = f"It was noticed at {finding.occurred_at.isoformat()}; nobody knew before."
        raise wrong("occurred_at", message)
    return moment


def acknowledged(
    job: Job,
    finding: Finding,
    *,
    caller: Caller,
    moment: datetime,
    note: str = "",
    whom: str = "",
) -> None:
    """Acknowledge a finding on a job whose row is locked, in the caller's transaction."""
    finding.acknowledged_at = moment
    finding.acknowledged_by = caller.name
    finding.acknowledged_side = caller.side.value
    finding.acknowledged_told = whom
    finding.acknowledged_note = note
    finding.save(update_fields=ACKNOWLEDGED)
    _write_down_and_tell_seen(job, caller, finding, moment)


def _check_may_acknowledge(caller: Caller, whom: str) -> None:
    """Raise NotAllowed or InvalidRequest unless the caller knows for the dealer.

    It comes before the finding is looked up, so that it says nothing about what there is.
    """
    needed = Scope.ORDER if caller.side is Side.DEALER else Scope.OVERRIDE
    if not caller.may(needed):
        raise NotAllowed(
            f"This call needs the scope {needed}.",
            next_step="The dealer acknowledges; a manager may where the dealer was told by phone.",
            extra={"required_scope": needed},
        )
    if caller.side is Side.WORKSHOP and not whom:
        raise wrong("told", "Say whom of the dealer you told, and how.")


def _write_down_and_tell_seen(job: Job, caller: Caller, finding: Finding, moment: datetime) -> None:
    withheld = finding.kind == FindingKind.BELONGINGS  # a note could name what was found
    note = "" if withheld else finding.acknowledged_note
    seen = {
        "finding_id": str(finding.pk),
        "kind": finding.kind,
        "weight": finding.weight,
        "by": finding.acknowledged_by,
        "side": finding.acknowledged_side,
        "told": finding.acknowledged_told,
        "note": note,
    }
    entry = advance(
        job, kind=Kind.FINDING_SEEN, caller=caller, occurred_at=moment, reason=note, data=seen
    )
    store(job, [entry])
    # In the line of its own that a "do not drive" has: never before what it answers.
    own_line = finding.pk if finding.weight == Weight.DO_NOT_DRIVE else None
    data = {"job": events.job_data(job), **seen}
    event_tell(events.FINDING_ACKNOWLEDGED, job, moment, data, subject_id=own_line)
