"""What callers see of findings, belongings, phrases and walk-rounds."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from core.api.answers import Answer, Rows, serializer_of
from core.api.serializers import OutputModelSerializer
from jobs.work.answers.photographs.outputs import PictureOutput, picture
from jobs.work.calc.car.areas import AREAS, Side
from jobs.work.calc.findings import WEIGHT_WORDS, FindingKind, Weight, caution_for
from jobs.work.models import Belonging, Finding, Phrase
from jobs.work.selectors.findings.phrases import wording_of


class BelongingOutput(OutputModelSerializer):
    """What was found, where it is kept, and what became of it."""

    class Meta:
        model = Belonging
        fields = (
            "id",
            "what",
            "kept_at",
            "wiped",
            "wiped_at",
            "returned_at",
            "returned_to",
            "returned_by",
        )


class FindingOutput(OutputModelSerializer):
    """A finding; show `caution`, where there is one, wherever the finding is shown."""

    job_id = serializers.UUIDField()
    weight_words = serializers.SerializerMethodField()
    area_name = serializers.SerializerMethodField()
    caution = serializers.SerializerMethodField()
    holds_the_job = serializers.SerializerMethodField()
    must_not_be_driven = serializers.BooleanField(
        help_text="It keeps the car off the road: not repaired and not withdrawn."
    )
    pictures = serializers.SerializerMethodField()
    belonging = serializers.SerializerMethodField()

    class Meta:
        model = Finding
        fields = (
            "id",
            "job_id",
            "kind",
            "weight",
            "weight_words",
            "area",
            "area_name",
            "noticed",
            "circumstance",
            "advice",
            "caution",
            "from_paint_survey",
            "holds_the_job",
            "pictures",
            "belonging",
            "occurred_at",
            "recorded_at",
            "actor",
            "acknowledged_at",
            "acknowledged_by",
            "acknowledged_side",
            "acknowledged_told",
            "acknowledged_note",
            "must_not_be_driven",
            "over_how",
            "over_by",
            "over_at",
            "over_reason",
            "over_recorded_by",
            "over_side",
        )

    def get_weight_words(self, finding: Finding) -> str:
        """Return the weight in plain words."""
        return WEIGHT_WORDS[Weight(finding.weight)]

    def get_area_name(self, finding: Finding) -> str:
        """Return what the area is called."""
        return AREAS[finding.area].name

    def get_caution(self, finding: Finding) -> str:
        """Return the caution it must be shown with, or nothing."""
        return caution_for(FindingKind(finding.kind), Weight(finding.weight))

    def get_holds_the_job(self, finding: Finding) -> bool:
        """Return whether the job waits until this is over."""
        return finding.hold is not None and finding.hold.ended_at is None

    @extend_schema_field(serializer_of(PictureOutput)(many=True))
    def get_pictures(self, finding: Finding) -> list[PictureOutput]:
        """Return its photographs with links."""
        return [picture(photo) for photo in finding.photos.all()]

    @extend_schema_field(BelongingOutput(allow_null=True))
    def get_belonging(self, finding: Finding) -> dict[str, Any] | None:
        """Return what was found, for the kind belongings."""
        belonging = getattr(finding, "belonging", None)
        return BelongingOutput().to_representation(belonging) if belonging else None


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingsOutput(Answer):
    """The findings of a job, oldest first."""

    findings: Annotated[Rows, FindingOutput(many=True)]


class PhraseOutput(OutputModelSerializer):
    """A ready phrase."""

    wording = serializers.SerializerMethodField()

    class Meta:
        model = Phrase
        fields = (
            "code",
            "group",
            "kind",
            "weight",
            "noticed",
            "circumstance",
            "advice",
            "hidden",
            "wording",
        )

    @extend_schema_field(serializers.ChoiceField(["standard", "reworded", "own"]))
    def get_wording(self, phrase: Phrase) -> str:
        """Say whose words they are."""
        return wording_of(phrase)


@dataclass(frozen=True, slots=True, kw_only=True)
class PhrasesOutput(Answer):
    """The workshop's phrases: the standard ones group by group, then its own."""

    phrases: Annotated[Rows, PhraseOutput(many=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class AreaOutput(Answer):
    """One place on a vehicle."""

    code: str
    name: str
    group: str
    side: Annotated[
        str,
        serializers.ChoiceField(
            [(side.value, side.name.lower()) for side in Side], allow_blank=True
        ),
    ]
    twin: Annotated[str, "The same place on the other side."]
    is_panel: Annotated[bool, "Paint readings are taken here."]


@dataclass(frozen=True, slots=True, kw_only=True)
class AreasOutput(Answer):
    """The areas of a vehicle."""

    areas: Sequence[AreaOutput]
