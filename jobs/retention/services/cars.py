"""Clears cars: what is personal, the photographs, at last every name and word; figures stay."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from uuid import UUID

from django.apps import apps

from core.clock import now
from jobs.retention.fates import CARS, Fate
from jobs.retention.models import Cleared
from jobs.retention.selectors.cars import OF_CARS
from jobs.retention.services.blanks import DELETED, blank_of
from jobs.retention.services.history import history_clear
from jobs.retention.terms import DataKind
from jobs.work.calc.findings import FindingKind
from jobs.work.models import Finding, Photo, Rendition, WalkRound, WorkRequest
from jobs.work.services.photographs.files import file_delete

HISTORY = "jobs.HistoryEntry"


@dataclass(frozen=True, slots=True)
class CarsCleared:
    """How many rows were cleared or deleted, and the files that go with them."""

    rows: int
    files: Sequence[str] = ()


def cars_clear(job_ids: Sequence[UUID], kind: DataKind) -> CarsCleared:
    """Clear the data of one kind, in the caller's transaction, and note that it was done.

    The end of the history is the end of everything that names anybody: it takes the other two
    kinds along. The files go after the commit, by `files_delete`: a crash between the two leaves
    files without a row, which the sweep of files finds.
    """
    kinds = OF_CARS if kind is DataKind.HISTORY else (kind,)
    rows, files = 0, list[str]()
    if DataKind.PICTURES in kinds:
        rows, files = _pictures(job_ids)
    if kind is not DataKind.PICTURES:
        rows += _words(job_ids, names_too=kind is DataKind.HISTORY)
    at = now()
    Cleared.objects.bulk_create(
        [Cleared(job_id=job_id, kind=each, at=at) for job_id in job_ids for each in kinds],
        ignore_conflicts=True,
    )
    return CarsCleared(rows, files)


def files_delete(names: Iterable[str]) -> int:
    """Delete the files of photographs whose rows are gone for certain; return how many."""
    count = 0
    for name in names:
        file_delete(name)
        count += 1
    return count


def _words(job_ids: Sequence[UUID], *, names_too: bool) -> int:
    rows = history_clear(job_ids, names_too=names_too)
    # First of all, since it asks what else is blanked below.
    found = Finding.objects.filter(job__in=job_ids, kind=FindingKind.BELONGINGS.value)
    found.update(noticed=DELETED, circumstance="", advice="")
    for label, fate in CARS.items():
        if label != HISTORY:
            rows += _blank(label, fate, job_ids, names_too=names_too)
    return rows


def _blank(label: str, fate: Fate, job_ids: Sequence[UUID], *, names_too: bool) -> int:
    model = apps.get_model(label)
    names = [*fate.personal, *(fate.names if names_too else ())]
    blanks = {name: blank_of(model, name) for name in names}
    if names_too:
        blanks |= dict.fromkeys(fate.people)
    if not blanks:
        return 0
    rows = model._default_manager.filter(**{f"{fate.car}__in": job_ids})  # noqa: SLF001  any model's
    count: int = rows.update(**blanks)
    return count


def _pictures(job_ids: Sequence[UUID]) -> tuple[int, list[str]]:
    """Delete the rows of photographs and what points at them; return how many, and the files."""
    photos = Photo.objects.filter(job__in=job_ids)
    renditions = Rendition.objects.filter(photo__job__in=job_ids)
    files = list(renditions.values_list("name", flat=True))
    for through in (Finding.photos.through, WorkRequest.photos.through):
        through._default_manager.filter(photo__job__in=job_ids).delete()  # noqa: SLF001  any model's
    rows = renditions.delete()[0]
    rows += photos.filter(moment=Photo.Moment.PAIR).delete()[0]
    rows += photos.delete()[0]
    for walk_round in WalkRound.objects.filter(job__in=job_ids).exclude(damage=[]):
        walk_round.damage = [{**mark, "photo_ids": []} for mark in walk_round.damage]
        walk_round.save(update_fields=["damage"])
    return rows, files
