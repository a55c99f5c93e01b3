"""The files of photographs in their store: put there, read, and taken back.

A file is put before the row that names it is committed, and taken back where the transaction is
given up: a crash between the two leaves a file that nothing names, never a row without its file.
"""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from uuid import UUID

import structlog
from django.core.files.base import ContentFile
from django.core.files.storage import Storage, storages

from core.full_disk import disk_full, is_full_disk
from core.problems import Unavailable
from jobs.work.models import Rendition
from jobs.work.services.photographs.stored import Encoded

log = structlog.get_logger(__name__)

RETRY_SECONDS = "5"


def store() -> Storage:
    """Return the store that SHUTLINE_PHOTO_STORE names."""
    return storages["photos"]


def file_put(*, photo_id: UUID, size: int, picture: Encoded) -> Rendition:
    """Store one size of a photograph; return the unsaved row that names it."""
    # The end of the id is random, so that a folder holds one file in 4,096.
    wanted = f"{photo_id.hex[-3:]}/{photo_id}-{size}.jpg"
    with _or_unavailable("photo_not_stored", wanted):
        name = store().save(wanted, ContentFile(picture.content))
    return Rendition(
        photo_id=photo_id,
        size=size,
        name=name,
        sha256=picture.sha256,
        length=len(picture.content),
        width=picture.width,
        height=picture.height,
    )


def file_read(rendition: Rendition) -> bytes:
    """Return the bytes of a stored size. Raises Unavailable where the store does not give them."""
    with (
        _or_unavailable("photo_not_read", rendition.name),
        store().open(rendition.name) as file,
    ):
        return bytes(file.read())


def file_delete(name: str) -> None:
    """Delete a stored size for good. Raises Unavailable where the store does not do it."""
    with _or_unavailable("photo_not_deleted", name):
        store().delete(name)


@contextmanager
def taken_back_on_failure() -> Iterator[list[Rendition]]:
    """Delete the files of the renditions put into the list where the block is left by an error."""
    put: list[Rendition] = []
    try:
        yield put
    except BaseException:
        _take_back(put)
        raise


def _take_back(renditions: Iterable[Rendition]) -> None:
    for rendition in renditions:
        try:
            store().delete(rendition.name)
        except OSError:
            # The reason to take it back is on its way up and matters more.
            log.exception("photo_file_left", name=rendition.name)


@contextmanager
def _or_unavailable(event: str, name: str) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        log.exception(event, name=name)
        if is_full_disk(error):
            raise disk_full() from error
        raise Unavailable(
            "The store of photographs does not answer.", headers={"Retry-After": RETRY_SECONDS}
        ) from error
