"""Photographs as others may see them: by id, with signed links, and the pairs of a job."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from django.conf import settings
from django.core.signing import BadSignature, Signer
from django.db.models import QuerySet

from core.clock import now
from core.problems import InvalidRequest
from jobs.calc.views import VIEWS
from jobs.models import Job, Photo

_SALT = "jobs.photos.link"
_HOUR_SECONDS = 3600


def photos_of(job: Job) -> QuerySet[Photo]:
    """Return the job's photographs, oldest first, with what is stored of each."""
    return Photo.objects.filter(job=job).prefetch_related("renditions").order_by("pk")


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
            str(one.size): _link(photo.pk, one.size, until)
            for one in sorted(photo.renditions.all(), key=lambda one: one.size)
        },
        "expires_at": datetime.fromtimestamp(until, UTC),
    }


def link_is_ours(photo_id: UUID, size: int, until: int, signature: str) -> bool:
    """Say whether we signed this link; whether it still holds is another question."""
    try:
        Signer(salt=_SALT).unsign(f"{_signed(photo_id, size, until)}:{signature}")
    except BadSignature:
        return False
    return True


def _expiry() -> int:
    """Return when links made now expire, in Unix seconds.

    On a full hour, so that what is shown twice within the hour is the same and can be cached.
    """
    latest = (now() + timedelta(hours=settings.PHOTO_LINK_HOURS)).timestamp()
    return (int(latest) // _HOUR_SECONDS + 1) * _HOUR_SECONDS


def _link(photo_id: UUID, size: int, until: int) -> str:
    signature = Signer(salt=_SALT).signature(_signed(photo_id, size, until))
    address = f"{settings.PUBLIC_URL}/api/v1/photos/{photo_id}/{size}"
    return f"{address}?until={until}&signature={signature}"


def _signed(photo_id: UUID, size: int, until: int) -> str:
    return f"{photo_id}/{size}/{until}"
