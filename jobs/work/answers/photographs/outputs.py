"""What callers see of photographs."""

from typing import Any

from rest_framework import serializers

from core.api.serializers import ZonedDateTimeField
from jobs.work.models import Photo
from jobs.work.models.photographs import SIZES
from jobs.work.selectors.photographs import photo_links

RECORDED = (
    "client_id",
    "before_id",
    "after_id",
    "format",
    "sha256",
    "width",
    "height",
    "taken_at",
    "recorded_at",
    "actor",
)


class PictureLinksOutput(serializers.Serializer[Any]):
    """An address for each size; the number is the longest side at most, in pixels."""

    def get_fields(self) -> dict[str, Any]:
        """Return one field a size: names that begin with a digit cannot be attributes."""
        return {str(size): serializers.URLField() for size in SIZES}


class PictureOutput(serializers.Serializer[Any]):
    """A photograph with links that work until `expires_at`, for callers of its job only."""

    id = serializers.UUIDField()
    view = serializers.CharField(allow_blank=True)
    area = serializers.CharField(allow_blank=True)
    moment = serializers.ChoiceField(choices=Photo.Moment.choices)
    caption = serializers.CharField(allow_blank=True)
    links = PictureLinksOutput()
    expires_at = ZonedDateTimeField()

    def to_representation(self, instance: Photo) -> dict[str, Any]:
        """Sign the links; prefetch `renditions` where there are several photographs."""
        return photo_links(instance)


class PhotoOutput(PictureOutput):
    """A photograph with what is known of it."""

    client_id = serializers.UUIDField(help_text="Made by the device.")
    before_id = serializers.UUIDField(allow_null=True, help_text="For a pair: the before in it.")
    after_id = serializers.UUIDField(allow_null=True, help_text="For a pair: the after in it.")
    format = serializers.CharField(help_text="What the upload was: JPEG, PNG, WEBP or HEIC.")
    sha256 = serializers.CharField(help_text="Of the bytes uploaded, in hexadecimal.")
    width = serializers.IntegerField(help_text="Of the upload, upright, in pixels.")
    height = serializers.IntegerField(help_text="Of the upload, upright, in pixels.")
    taken_at = ZonedDateTimeField()
    recorded_at = ZonedDateTimeField()
    actor = serializers.CharField(help_text="Who uploaded it.")

    def to_representation(self, instance: Photo) -> dict[str, Any]:
        """Add what the record holds to the links."""
        known = {name: getattr(instance, name) for name in RECORDED}
        return super().to_representation(instance) | known


class PhotosOutput(serializers.Serializer[Any]):
    """The photographs of a job, pairs included, oldest first."""

    photos = PhotoOutput(many=True)
