"""What callers see of photographs."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

from rest_framework import serializers

from core.api.answers import Answer
from jobs.work.models import Photo
from jobs.work.models.photographs import SIZES
from jobs.work.selectors.photographs import photo_links


class PictureLinksOutput(serializers.Serializer[Any]):
    """An address for each size; the number is the longest side at most, in pixels."""

    def get_fields(self) -> dict[str, Any]:
        """Return one field a size: names that begin with a digit cannot be attributes."""
        return {str(size): serializers.URLField() for size in SIZES}


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureOutput(Answer):
    """A photograph with links that work until `expires_at`, for callers of its job only."""

    id: UUID
    view: str
    area: str
    moment: Annotated[str, serializers.ChoiceField(Photo.Moment.choices)]
    caption: str
    links: Annotated[dict[str, str], PictureLinksOutput()]
    expires_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoOutput(PictureOutput):
    """A photograph with what is known of it."""

    client_id: Annotated[UUID, "Made by the device."]
    before_id: Annotated[UUID | None, "For a pair: the before in it."]
    after_id: Annotated[UUID | None, "For a pair: the after in it."]
    format: Annotated[str, "What the upload was: JPEG, PNG, WEBP or HEIC."]
    sha256: Annotated[str, "Of the bytes uploaded, in hexadecimal."]
    width: Annotated[int, "Of the upload, upright, in pixels."]
    height: Annotated[int, "Of the upload, upright, in pixels."]
    taken_at: datetime
    recorded_at: datetime
    actor: Annotated[str, "Who uploaded it."]


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotosOutput(Answer):
    """The photographs of a job, pairs included, oldest first."""

    photos: Sequence[PhotoOutput]


def picture(photo: Photo) -> PictureOutput:
    """Sign the links; prefetch `renditions` where there are several photographs."""
    return PictureOutput(**photo_links(photo))


def photograph(photo: Photo) -> PhotoOutput:
    """Sign the links, and add what the record holds."""
    return PhotoOutput(
        **photo_links(photo),
        client_id=photo.client_id,
        before_id=photo.before_id,
        after_id=photo.after_id,
        format=photo.format,
        sha256=photo.sha256,
        width=photo.width,
        height=photo.height,
        taken_at=photo.taken_at,
        recorded_at=photo.recorded_at,
        actor=photo.actor,
    )
