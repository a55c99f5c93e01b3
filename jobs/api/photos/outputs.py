"""What callers see of photographs."""

from typing import Any

from rest_framework import serializers

from core.api.serializers import ZonedDateTimeField
from jobs.models import Photo
from jobs.models.photos import SIZES
from jobs.selectors.photos import photo_links


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
