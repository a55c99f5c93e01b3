"""The end of a "do not drive": repaired, to be transported, or withdrawn; then the car is free.

Both sides may record that it was repaired or will be transported, for either may be who sees it:
the mechanic comes to the workshop, the transporter is the dealer's. A name has to be given, and
everybody who was told of the finding is told by whom and when it ended.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction

from accounts.caller import Caller, Scope, Side
from core.clock import now
from core.problems import NotAllowed
from jobs.work import events
from jobs.work.calc.findings import SAFE, Over, Weight, ends_with, refuse_ending
from jobs.work.calc.stages.machine import Kind
from jobs.work.models import Finding, Job
from jobs.work.selectors.findings.findings import finding_of
from jobs.work.selectors.jobs.jobs import job_for_change
from jobs.work.services.findings.findings import acknowledged, contact_of, moment_of, wrong
from jobs.work.services.holds import hold_close
from jobs.work.services.jobs.recording import advance, check, event_tell, store
from notifications.catalogue import EventType

OVER = ("over_how", "over_by", "over_at", "over_reason", "over_recorded_by", "over_side")
FURTHEST_AHEAD = timedelta(days=90)  # our own choice: a transport later than this is a slip


@dataclass(frozen=True, slots=True)
class Ending:
    """How it ends: by whom and when, and why where it was a mistake."""

    how: Over
    by: str
    at: datetime
    reason: str = ""


@transaction.atomic
def finding_clear(
    *,
    caller: Caller,
    finding_id: UUID,
    how: Over,
    by: str,
    at: datetime | None = None,
    occurred_at: datetime | None = None,
) -> Finding:
    """Record that the car was repaired, or will be transported; the hold ends with it.

    `by`: who repaired it or transports it; `at`: when, which for a transport may be to come. What
    stands is returned unchanged, except that a car to be transported may be repaired after all.
    Raises NotAllowed, Refused, InvalidRequest.
    """
    _check_scope(caller)
    job, finding = _for_change(caller, finding_id)
    if not ends_with(finding.over_how, how):
        return finding
    moment = moment_of(finding, occurred_at)
    ending = Ending(how, by, _when(finding, how, at or moment))
    if caller.side is Side.DEALER and finding.acknowledged_at is None:
        acknowledged(job, finding, caller=caller, moment=moment)
    _end(job, finding, ending, caller=caller, moment=moment)
    return finding


@transaction.atomic
def finding_withdraw(
    *, caller: Caller, finding_id: UUID, reason: str, occurred_at: datetime | None = None
) -> Finding:
    """Take a "do not drive" back that was a mistake; the hold ends, and everybody is told why.

    Who reported it may, a manager, or the workshop's system. Withdrawn before, nothing changes.
    Raises NotAllowed, Refused, InvalidRequest.
    """
    job, finding = _for_change(caller, finding_id)
    _check_may_withdraw(caller, finding)
    if not ends_with(finding.over_how, Over.WITHDRAWN):
        return finding
    moment = moment_of(finding, occurred_at)
    ending = Ending(Over.WITHDRAWN, caller.name, moment, reason)
    _end(job, finding, ending, caller=caller, moment=moment)
    return finding


def _for_change(caller: Caller, finding_id: UUID) -> tuple[Job, Finding]:
    """Return a finding with its job, whose row is locked. Raises NotFound and Refused."""
    job = job_for_change(caller, finding_of(caller, finding_id).job_id)
    finding = finding_of(caller, finding_id)  # again, now that nobody else can change it
    check(job, refuse_ending(finding.weight))
    return job, finding


def _check_scope(caller: Caller) -> None:
    """Raise NotAllowed without the scope of the caller's side, before anything is looked up."""
    needed = Scope.ORDER if caller.side is Side.DEALER else Scope.WORK
    if not caller.may(needed):
        raise NotAllowed(
            f"This call needs the scope {needed}.",
            next_step="Let somebody who orders work, or who works on the car, record it.",
            extra={"required_scope": needed},
        )


def _check_may_withdraw(caller: Caller, finding: Finding) -> None:
    """Raise NotAllowed unless the caller reported it, manages, or is a system of the workshop's.

    A manager connected the system, and it is nobody in particular whom a report could belong to.
    """
    own = caller.person_id in {None, finding.actor_person_id}
    if not own and not caller.may(Scope.OVERRIDE):
        raise NotAllowed(
            f"This was reported by {finding.actor}.",
            next_step="Let them withdraw it, or a manager.",
            extra={"required_scope": Scope.OVERRIDE},
        )


def _when(finding: Finding, how: Over, at: datetime) -> datetime:
    """Return when it was repaired or will be transported. Raises InvalidRequest."""
    if at < finding.occurred_at:
        message = f"It was noticed at {finding.occurred_at.isoformat()}; give a time after that."
        raise wrong("at", message)
    latest = now() if how is Over.REPAIRED else now() + FURTHEST_AHEAD
    if at > max(latest, finding.occurred_at):
        past, soon = "a time that is past", f"a day within the next {FURTHEST_AHEAD.days}"
        wanted = past if how is Over.REPAIRED else soon
        raise wrong("at", f"{at.isoformat()} is too late; give {wanted}.")
    return at


def _end(job: Job, finding: Finding, ending: Ending, *, caller: Caller, moment: datetime) -> None:
    finding.over_how, finding.over_by, finding.over_at = ending.how, ending.by, ending.at
    finding.over_reason = ending.reason
    finding.over_recorded_by, finding.over_side = caller.name, caller.side.value
    finding.save(update_fields=OVER)
    job.do_not_drive = _keeping_off(job)
    said = events.finding_over_data(finding)
    withdrawn = ending.how is Over.WITHDRAWN
    entry = advance(
        job,
        kind=Kind.WITHDRAWN if withdrawn else Kind.FINDING_CLEARED,
        caller=caller,
        occurred_at=moment,
        reason=ending.reason,
        data=_as_history(said),
    )
    store(job, [entry])
    kind = events.FINDING_WITHDRAWN if withdrawn else events.FINDING_CLEARED
    _tell_everybody(kind, job, finding, moment, said)
    if finding.hold is not None and finding.hold.ended_at is None:
        hold_close(job, finding.hold, caller=caller, occurred_at=moment, reason=said["headline"])


def _as_history(said: Mapping[str, Any]) -> dict[str, Any]:
    """Return what the history keeps of an ending: no more than it needs to say it again."""
    kept = {name: said[name] for name in ("kind", "weight", "area", "noticed", "by", "side")}
    how = said.get("how", Over.WITHDRAWN.value)
    return {**kept, "finding_id": str(said["finding_id"]), "how": how, "at": _text(said["at"])}


def _text(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _keeping_off(job: Job) -> bool:
    """Return whether any finding keeps the car off the road: one query."""
    stops = Finding.objects.filter(job=job, weight=Weight.DO_NOT_DRIVE.value)
    return stops.exclude(over_how__in=SAFE).exists()


def _tell_everybody(
    kind: EventType, job: Job, finding: Finding, moment: datetime, said: Mapping[str, Any]
) -> None:
    """Tell everybody who was told of the finding, in its own line: never before what it ends."""
    also_to = list(dict.fromkeys(filter(None, [finding.told_to, *contact_of(job)])))
    data = {"job": events.job_data(job), **said}
    event_tell(kind, job, moment, data, subject_id=finding.pk, urgent=True, also_to=also_to)
