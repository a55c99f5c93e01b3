"""What callers see of requests for extra work and of changes to be seen."""

from dataclasses import dataclass
from typing import Annotated

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from core.api.answers import Answer, Rows, serializer_of
from core.api.serializers import OutputModelSerializer
from jobs.work.answers.photographs.outputs import PictureOutput, picture
from jobs.work.models import RequestMessage, WorkRequest


class MessageOutput(OutputModelSerializer):
    """A question of the dealer, or the workshop's reply."""

    class Meta:
        model = RequestMessage
        fields = ("side", "text", "occurred_at", "actor")


class RequestOutput(OutputModelSerializer):
    """A request for extra work. `price` is empty for callers without the scope prices.read."""

    job_id = serializers.UUIDField()
    hold_id = serializers.UUIDField(allow_null=True, help_text="The hold it opened, if any.")
    operations = serializers.ListField(child=serializers.CharField())
    priced = serializers.SerializerMethodField(help_text="Whether a price was named.")
    messages = MessageOutput(many=True)
    pictures = serializers.SerializerMethodField()

    class Meta:
        model = WorkRequest
        fields = (
            "id",
            "job_id",
            "state",
            "what",
            "why",
            "if_not_done",
            "operations",
            "minutes",
            "priced",
            "price",
            "currency",
            "answer_by",
            "hold_id",
            "round",
            "opened_at",
            "recorded_at",
            "actor",
            "closed_at",
            "closed_by",
            "closed_way",
            "closed_note",
            "messages",
            "pictures",
        )

    def get_priced(self, request: WorkRequest) -> bool:
        """Return whether a price was named."""
        return request.price is not None

    @extend_schema_field(serializer_of(PictureOutput)(many=True))
    def get_pictures(self, request: WorkRequest) -> list[PictureOutput]:
        """Return the pictures with fresh links."""
        return [picture(photo) for photo in request.photos.all()]


@dataclass(frozen=True, slots=True, kw_only=True)
class RequestsOutput(Answer):
    """Every request about a job, oldest first."""

    requests: Annotated[Rows, RequestOutput(many=True)]
