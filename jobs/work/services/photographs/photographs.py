"""Photographs: taken in once, whatever is sent again, and paired where a view has both moments."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction

from accounts.caller import Caller
from core.clock import now
from core.ids import new_id
from core.problems import Conflict
from jobs.work.calc.stages.machine import Refusal, refuse_noting
from jobs.work.models import Photo, Rendition
from jobs.work.models.photographs import SIZES
from jobs.work.selectors.jobs.jobs import job_for_change
from jobs.work.selectors.photographs import newest_of, photo_links, photo_of_client
from jobs.work.services.jobs.recording import check
from jobs.work.services.photographs.files import file_put, file_read, taken_back_on_failure
from jobs.work.services.photographs.stored import Encoded, Upload

MOST_PHOTOS = 400  # of one job; common practice is 20 to 40, no source


@dataclass(frozen=True, slots=True)
class Shot:
    """What the device says of a photograph: its own id for it, and what it shows."""

    client_id: UUID
    moment: str
    view: str = ""
    area: str = ""
    caption: str = ""


@transaction.atomic
def photo_add(
    *, caller: Caller, job_id: UUID, shot: Shot, upload: Upload, occurred_at: datetime
) -> tuple[Photo, bool]:
    """Keep a photograph of a car that is here; return it and whether it is new.

    The same upload under the same client_id is the photograph kept before. Raises Conflict where
    the client_id stands for other bytes, Refused, Unavailable.
    """
    job = job_for_change(caller, job_id)
    if (kept := photo_of_client(job, shot.client_id)) is not None:
        return _same(kept, upload), False
    check(job, refuse_noting(job.state))
    if job.photos.count() >= MOST_PHOTOS:
        check(job, _too_many())
    photo = Photo(
        job=job,
        client_id=shot.client_id,
        moment=shot.moment,
        view=shot.view,
        area=shot.area,
        caption=shot.caption,
        format=upload.format,
        sha256=upload.sha256,
        width=upload.width,
        height=upload.height,
        taken_at=occurred_at,
    )
    with taken_back_on_failure() as files:
        _keep(photo, upload.renditions, caller, files)
        _pair(photo, caller, files)
    return photo, True


def _same(kept: Photo, upload: Upload) -> Photo:
    """Return the photograph kept under the client_id. Raises Conflict where it is another."""
    if kept.sha256 != upload.sha256:
        raise Conflict(
            "Another photograph was uploaded under this client_id.",
            next_step="Give every photograph a client_id of its own; keep it when sending again.",
            extra={"current": {**photo_links(kept), "sha256": kept.sha256}},
        )
    return kept


def _keep(
    photo: Photo, pictures: Mapping[int, Encoded], caller: Caller, files: list[Rendition]
) -> None:
    """Store the files and then the rows of a photograph."""
    for size, picture in pictures.items():
        files.append(file_put(photo_id=photo.pk, size=size, picture=picture))
    photo.recorded_at = now()
    photo.actor, photo.actor_person_id = caller.name, caller.person_id
    photo.save(force_insert=True)
    Rendition.objects.bulk_create(file for file in files if file.photo_id == photo.pk)


def _pair(photo: Photo, caller: Caller, files: list[Rendition]) -> None:
    """Put the newest before and the newest after of the view side by side, if this is one."""
    if photo.moment == Photo.Moment.DETAIL:
        return
    before = newest_of(photo.job, photo.view, Photo.Moment.BEFORE)
    after = newest_of(photo.job, photo.view, Photo.Moment.AFTER)
    if before is None or after is None or photo not in {before, after}:
        return
    from jobs.work.services.photographs.pairs import side_by_side  # noqa: PLC0415  loads the decoders

    left, right = _largest(before), _largest(after)
    pictures = {size: side_by_side(left, right, size) for size in SIZES}
    whole = pictures[max(SIZES)]
    pair = Photo(
        job=photo.job,
        client_id=new_id(),
        moment=Photo.Moment.PAIR,
        view=photo.view,
        area=before.area if before.area == after.area else "",
        before=before,
        after=after,
        format="JPEG",
        sha256=whole.sha256,
        width=whole.width,
        height=whole.height,
        taken_at=max(before.taken_at, after.taken_at),
    )
    _keep(pair, pictures, caller, files)


def _largest(photo: Photo) -> bytes:
    """Return the largest picture that is kept of a photograph."""
    return file_read(max(photo.renditions.all(), key=lambda rendition: rendition.size))


def _too_many() -> Refusal:
    return Refusal(
        "enough_photos",
        f"This job has {MOST_PHOTOS} photographs, as many as one can have.",
        "Send those that show most; those kept stay as they are.",
    )
