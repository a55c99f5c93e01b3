"""Photographs as others may see them: by id, with signed links, and the pairs of a job."""

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from django.conf import settings
from django.core.signing import BadSignature, Signer
from django.db.models import QuerySet

from accounts.caller import Caller
from core.clock import now
from core.problems import InvalidRequest, NotFound
from jobs.work.calc.car.views import VIEWS
from jobs.work.models import Job, Photo, Rendition
from jobs.work.models.photographs import SIZES
from jobs.work.selectors.jobs.jobs import jobs_of, no_such_job

_SALT = "jobs.photos.link"
_HOUR_SECONDS = 3600


def photos_of(job: Job) -> QuerySet[Photo]:
    """Return the job's photographs, oldest first, with what is stored of each."""
    return Photo.objects.filter(job=job).prefetch_related("renditions").order_by("pk")


def photos_of_caller(caller: Caller, job_id: UUID) -> list[Photo]:
    """Return the photographs of one of the caller's jobs, oldest first. Raises NotFound."""
    job = jobs_of(caller).filter(pk=job_id).first()
    if job is None:
        raise no_such_job()
    return list(photos_of(job))


def photos_for(job: Job, photo_ids: Sequence[UUID]) -> list[Photo]:
    """Return these photographs of the job in the order given, each once.

    Raises InvalidRequest that names `photo_ids` with those the job does not have.
    """
    wanted = list(dict.fromkeys(photo_ids))
    if not wanted:
        return []
    found = {photo.pk: photo for photo in photos_of(job).filter(pk__in=wanted)}
    unknown = [str(photo_id) for photo_id in wanted if photo_id not in found]
    if unknown:
        sentence = f"This job has no photograph {', '.join(unknown)}."
        raise InvalidRequest(
            sentence,
            next_step="Upload the photographs first, then name them by the ids in the answers.",
            errors=[{"field": "photo_ids", "message": sentence}],
        )
    return [found[photo_id] for photo_id in wanted]


def pairs_of(job: Job) -> list[Photo]:
    """Return the newest before and after of each view, side by side, in the order of the views."""
    newest = {pair.view: pair for pair in photos_of(job).filter(moment=Photo.Moment.PAIR)}
    return [newest[view] for view in VIEWS if view in newest]


def photo_of_client(job: Job, client_id: UUID) -> Photo | None:
    """Return the job's photograph that the device gave this id, or None."""
    return photos_of(job).filter(client_id=client_id).first()


def newest_of(job: Job, view: str, moment: str) -> Photo | None:
    """Return the photograph of this view and moment that was taken last, or None."""
    shots = photos_of(job).filter(view=view, moment=moment)
    return shots.order_by("-taken_at", "-pk").first()


def rendition_of(caller: Caller, photo_id: UUID, size: str) -> Rendition:
    """Return a stored size of a photograph of one of the caller's jobs: one query.

    Raises NotFound, the same for a size that is none, a missing photograph and somebody else's.
    """
    found = None
    if size in {str(longest) for longest in SIZES}:
        stored = Rendition.objects.filter(photo_id=photo_id, size=int(size))
        found = stored.filter(photo__job__in=jobs_of(caller)).first()
    if found is None:
        raise NotFound("There is no such photograph, or it is not yours.")
    return found


def photo_links(photo: Photo) -> dict[str, Any]:
    """Return the photograph as the API and the events show it, with fresh links.

    Without a query where its renditions were prefetched.
    """
    until = _expiry()
    return {
        "id": photo.pk,
        "view": photo.view,
        "area": photo.area,
        "moment": photo.moment,
        "caption": photo.caption,
        "links": {
            str(rendition.size): _link(photo.pk, rendition.size, until)
            for rendition in sorted(photo.renditions.all(), key=lambda rendition: rendition.size)
        },
        "expires_at": datetime.fromtimestamp(until, UTC),
    }


def photos_with_paths(job: Job) -> list[tuple[Photo, dict[str, str]]]:
    """Return the job's photographs, newest first, with their paths by size: one query."""
    stored = Rendition.objects.filter(photo__job=job).select_related("photo")
    return with_paths(stored.order_by("-photo_id", "size"))


def with_paths(stored: Iterable[Rendition]) -> list[tuple[Photo, dict[str, str]]]:
    """Return the photographs that these renditions came with, once each, with paths by size."""
    until = _expiry()
    found: dict[UUID, tuple[Photo, dict[str, str]]] = {}
    for rendition in stored:
        _, paths = found.setdefault(rendition.photo_id, (rendition.photo, {}))
        paths[f"at_{rendition.size}"] = _path(rendition.photo_id, rendition.size, until)
    return list(found.values())


def link_end(rendition: Rendition, until: str, signature: str) -> datetime | None:
    """Return when a link ends or ended; None where it is not as we made it."""
    try:
        Signer(salt=_SALT).unsign(
            f"{_signed(rendition.photo_id, rendition.size, until)}:{signature}"
        )
    except BadSignature:
        return None
    return datetime.fromtimestamp(int(until), UTC)


def _expiry() -> int:
    """Return when links made now expire, in Unix seconds.

    On a full hour, so that what is shown twice within the hour is the same and can be cached.
    """
    latest = (now() + timedelta(hours=settings.PHOTO_LINK_HOURS)).timestamp()
    return (int(latest) // _HOUR_SECONDS + 1) * _HOUR_SECONDS


def _link(photo_id: UUID, size: int, until: int) -> str:
    return f"{settings.PUBLIC_URL}{_path(photo_id, size, until)}"


def _path(photo_id: UUID, size: int, until: int) -> str:
    signature = Signer(salt=_SALT).signature(_signed(photo_id, size, str(until)))
    return f"/api/v1/photos/{photo_id}/{size}?until={until}&signature={signature}"


def _signed(photo_id: UUID, size: int, until: str) -> str:
    return f"{photo_id}/{size}/{until}"
