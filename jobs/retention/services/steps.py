"""The steps of the sweep: each deletes a batch in one short transaction and says where to go on."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from uuid import UUID

from axes.models import AccessAttempt, AccessFailureLog, AccessLog
from django.contrib.admin.models import LogEntry
from django.db import transaction
from django.db.models import Model, QuerySet

from jobs.retention.models import Removal
from jobs.retention.selectors.cars import cars_due
from jobs.retention.selectors.mail import mail_files
from jobs.retention.selectors.terms import over, over_for_all
from jobs.retention.services.cars import cars_clear, files_delete
from jobs.retention.services.loose_files import folders_sweep
from jobs.retention.terms import DataKind
from jobs.work.models import ClimateReading, Job, OrderImport
from notifications.services.dropping import Dropped, attempts_drop, contacts_drop, events_drop

CARS_AT_ONCE = 25
ROWS_AT_ONCE = 1000
FILES_AT_ONCE = 200


@dataclass(frozen=True, slots=True)
class Batch:
    """What one batch removed, and the place where the next goes on; empty: nothing is left."""

    place: str = ""
    cars: int = 0
    rows: int = 0
    files: int = 0
    oldest: datetime | None = None
    newest: datetime | None = None


Step = Callable[[datetime, str], Batch]


def _cars(kind: DataKind) -> Step:
    def step(at: datetime, place: str) -> Batch:
        with transaction.atomic():
            jobs = _lock_cars(kind, at, place)
            cleared = cars_clear([job.pk for job in jobs], kind)
        closed = [job.closed_at for job in jobs]  # type: ignore[attr-defined]  # annotated
        return Batch(
            str(jobs[-1].pk) if len(jobs) == CARS_AT_ONCE else "",
            cars=len(jobs),
            rows=cleared.rows,
            files=files_delete(cleared.files),
            oldest=min(closed, default=None),
            newest=max(closed, default=None),
        )

    return step


def _lock_cars(kind: DataKind, at: datetime, place: str) -> list[Job]:
    """Return the next cars, locked, so that none is reopened while it is cleared."""
    due = cars_due(kind, at)
    if place:
        due = due.filter(pk__gt=UUID(place))
    return list(due.select_for_update(of=("self",)).order_by("pk")[:CARS_AT_ONCE])


def _old_rows(rows: QuerySet[Model], moment: str, place: str) -> Batch:
    """Delete the next rows of a query in the order of their keys."""
    if place:
        rows = rows.filter(pk__gt=place)
    with transaction.atomic():
        found = list(rows.order_by("pk").values_list("pk", moment)[:ROWS_AT_ONCE])
        model = rows.model._default_manager  # noqa: SLF001  any model's
        count = model.filter(pk__in=[pk for pk, _ in found]).delete()[0]
    times = [when for _, when in found]
    return Batch(
        str(found[-1][0]) if len(found) == ROWS_AT_ONCE else "",
        rows=count,
        oldest=min(times, default=None),
        newest=max(times, default=None),
    )


def _readings(at: datetime, place: str) -> Batch:
    old = ClimateReading.objects.filter(over(DataKind.READINGS, at, moment="at"))
    return _old_rows(old, "at", place)


def _notices(at: datetime, place: str) -> Batch:
    before = over_for_all(DataKind.NOTICES, at)
    batch = _batch(events_drop(before=before, place=place))
    contacts = contacts_drop(before=before) if not batch.place else 0
    return replace(batch, rows=batch.rows + contacts)


def _attempts(at: datetime, place: str) -> Batch:
    return _batch(attempts_drop(before=over_for_all(DataKind.ATTEMPTS, at), place=place))


def _batch(dropped: Dropped) -> Batch:
    return Batch(dropped.place, rows=dropped.rows, oldest=dropped.oldest, newest=dropped.newest)


def _imports(at: datetime, place: str) -> Batch:
    old = OrderImport.objects.filter(finished_at__lt=over_for_all(DataKind.IMPORTS, at))
    return _old_rows(old, "finished_at", place)


SIGN_INS: tuple[type[Model], ...] = (AccessAttempt, AccessFailureLog, AccessLog)


def _sign_ins(at: datetime, place: str) -> Batch:
    """Delete failed sign-ins, one table after the other; the place names table and row."""
    number, _, row = (place or "0:").partition(":")
    before = over_for_all(DataKind.SIGN_INS, at)
    rows = SIGN_INS[int(number)]._default_manager.filter(attempt_time__lt=before)  # noqa: SLF001  any model's
    done = _old_rows(rows, "attempt_time", row)
    further = f"{number}:{done.place}" if done.place else f"{int(number) + 1}:"
    last = not done.place and int(number) + 1 == len(SIGN_INS)
    return Batch("" if last else further, rows=done.rows, oldest=done.oldest, newest=done.newest)


def _operator(at: datetime, place: str) -> Batch:
    old = LogEntry.objects.filter(action_time__lt=over_for_all(DataKind.OPERATOR, at))
    return _old_rows(old, "action_time", place)


def _mail(at: datetime, place: str) -> Batch:
    """Delete e-mails kept as files; they have no order that lasts, so a pass is one look."""
    del place
    old = [(path, when) for path, when in mail_files() if when < over_for_all(DataKind.MAIL, at)]
    for path, _ in old[:FILES_AT_ONCE]:
        Path(path).unlink(missing_ok=True)
    times = [when for _, when in old[:FILES_AT_ONCE]]
    return Batch(
        "more" if len(old) > FILES_AT_ONCE else "",
        files=len(times),
        oldest=min(times, default=None),
        newest=max(times, default=None),
    )


def _files(at: datetime, place: str) -> Batch:
    """Delete the files without a row of the next folders of the store."""
    swept = folders_sweep(at=at, after=place)
    return Batch(
        swept.folder,
        files=swept.deleted,
        oldest=swept.oldest,
        newest=swept.newest,
    )


# In this order: what ends everything about a car comes after what ends a part of it.
STEPS: Mapping[Removal.Step, Step] = {
    Removal.Step.PERSONAL: _cars(DataKind.PERSONAL),
    Removal.Step.PICTURES: _cars(DataKind.PICTURES),
    Removal.Step.HISTORY: _cars(DataKind.HISTORY),
    Removal.Step.READINGS: _readings,
    Removal.Step.ATTEMPTS: _attempts,
    Removal.Step.NOTICES: _notices,
    Removal.Step.IMPORTS: _imports,
    Removal.Step.SIGN_INS: _sign_ins,
    Removal.Step.OPERATOR: _operator,
    Removal.Step.MAIL: _mail,
    Removal.Step.FILES: _files,
}
