"""What callers see of paint."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, overload

from rest_framework import serializers

from core.api.answers import Answer, Row, Rows
from core.api.serializers import OutputModelSerializer
from jobs.work.calc.car.areas import PANELS
from jobs.work.calc.paint.comparison import Doubt
from jobs.work.calc.paint.film import FilmAnswer
from jobs.work.calc.paint.survey import FilmClass, Material, Spot
from jobs.work.calc.paint.system import Fade, PaintSystem
from jobs.work.models import FilmCheck, PaintTest, PassesDone, SpotReading

CLASSES = [(film_class.value, film_class.words) for film_class in FilmClass]
SYSTEMS = [(system.value, system.words) for system in PaintSystem]
FILMS = [(answer.value, answer.words) for answer in FilmAnswer]
DOUBTS = [(doubt.value, doubt.value.replace("_", " ")) for doubt in Doubt]
FADES = [(fade.value, fade.value.replace("_", " ")) for fade in Fade]
STAMP = ("occurred_at", "recorded_at", "actor", "set_aside_at", "set_aside_reason")


Film = Annotated[str, serializers.ChoiceField(FILMS)]
System = Annotated[str, serializers.ChoiceField(SYSTEMS)]
Metal = Annotated[str, serializers.ChoiceField(SpotReading.Material.choices)]


@overload
def short(figure: float, places: int = 1) -> float: ...
@overload
def short(figure: float | None, places: int = 1) -> float | None: ...
def short(figure: float | None, places: int = 1) -> float | None:
    """Return a figure with as many places as mean anything."""
    return None if figure is None else round(figure, places)


class SpotReadingOutput(OutputModelSerializer):
    """A spot reading; `microns` is the mean of the single ones, empty on plastic."""

    readings = serializers.ListField(child=serializers.FloatField())
    microns = serializers.SerializerMethodField()
    deviation_microns = serializers.SerializerMethodField(
        help_text="Standard deviation of the single readings."
    )

    class Meta:
        model = SpotReading
        fields = (
            "id",
            "panel",
            "material",
            "readings",
            "microns",
            "deviation_microns",
            "note",
            *STAMP,
        )

    def get_microns(self, reading: SpotReading) -> float | None:
        """Return the mean."""
        return short(reading.microns)

    def get_deviation_microns(self, reading: SpotReading) -> float | None:
        """Return how far the single readings scatter."""
        if not reading.readings:
            return None
        spot = Spot(reading.panel, Material(reading.material), tuple(reading.readings))
        return short(spot.deviation_microns, 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class SpotReadingsOutput(Answer):
    """The readings as recorded."""

    readings: Annotated[Rows, SpotReadingOutput(many=True)]


class PaintTestOutput(OutputModelSerializer):
    """A test of the paint."""

    class Meta:
        model = PaintTest
        fields = (
            "id",
            "panel",
            "pad_colour",
            "rubbed_with",
            "white_paint",
            "look",
            "faded",
            "darkens_when_wet",
            "note",
            *STAMP,
        )


class FilmCheckOutput(OutputModelSerializer):
    """An answer about a film or wrap on a panel, or on the whole vehicle."""

    class Meta:
        model = FilmCheck
        fields = ("id", "panel", "film", "note", "occurred_at", "recorded_at", "actor")


class PassesOutput(OutputModelSerializer):
    """Machine passes done; `warning` is what spoke against them, `reason` why they were done."""

    class Meta:
        model = PassesDone
        fields = ("id", "panel", "kind", "passes", "warning", "reason", *STAMP)


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmCheckMadeOutput(Answer):
    """An answer just recorded, and what holds for the whole vehicle now."""

    check: Annotated[Row, FilmCheckOutput()]
    film: Film
    film_words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictOutput(Answer):
    """What the tests say of a panel."""

    system: System
    system_words: str
    why_unsure: Annotated[str, "Why the system is not sure, and what to do; empty where it is."]
    fade: Annotated[str, serializers.ChoiceField(FADES)]
    fade_words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PaintTestMadeOutput(VerdictOutput):
    """A test just recorded, and what all tests of the panel say now."""

    test: Annotated[Row, PaintTestOutput()]


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOutput(Answer):
    """Film that may still go, and for how many passes of one kind or the other it lasts."""

    microns: float
    cut_passes: int
    finish_passes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class AllowanceOutput(Answer):
    """What a panel can still stand; the conservative figures count."""

    conservative: LeftOutput
    hopeful: LeftOutput
    assumption: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PassesMadeOutput(Answer):
    """Passes just recorded, and what the panel can stand after them."""

    done: Annotated[Row, PassesOutput()]
    allowance: AllowanceOutput | None
    cautions: Sequence[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class DoneOutput(Answer):
    """Machine passes over a panel so far."""

    cut: int
    finish: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelOutput(VerdictOutput):
    """One panel. Figures are null where nothing was measured or there is nothing to compare.

    A panel is compared with those of its own metal. `modified_z` is 0.6745 (x - median) / MAD over
    all of them; `z_counted` is measured from the last baseline with its spread, and it decides,
    beyond 3.5. The class says how the panel compares, no more: `as_made` is "like the rest of this
    car". `caveats` belong to every word on the panel.
    """

    panel: Annotated[
        str, serializers.ChoiceField([(code, panel.name) for code, panel in PANELS.items()])
    ]
    name: str
    material: Annotated[
        str | None, serializers.ChoiceField(SpotReading.Material.choices, allow_null=True)
    ]
    film_class: Annotated[str, serializers.ChoiceField(CLASSES)]
    film_class_words: str
    spots: int
    microns: Annotated[float | None, "Median of the panel's spots."]
    lowest_microns: float | None
    highest_microns: float | None
    difference_microns: Annotated[float | None, "From the baseline."]
    modified_z: float | None
    z_counted: float | None
    reasons: Sequence[str]
    caveats: Sequence[str]
    film: Annotated[str, serializers.ChoiceField(FILMS, help_text="Is a film or wrap on it?")]
    film_words: str
    allowance: AllowanceOutput | None
    no_allowance_because: Annotated[str, "Empty where there is an allowance."]
    passes_done: DoneOutput
    square_metres: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BaselineOutput(Answer):
    """What panels of one metal were compared with; what stood out is left out of the next one."""

    material: Metal
    counts: Annotated[bool, "The last one of its metal, which decides."]
    panels: Sequence[str]
    median_microns: float
    mad_microns: float
    spread_microns: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupsOutput(Answer):
    """Two groups that the panels of one metal fall into."""

    thinner: Sequence[str]
    thicker: Sequence[str]
    thinner_microns: float
    thicker_microns: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparisonOutput(Answer):
    """How the panels of one metal compare, and why they are not classed, or not all of them."""

    material: Metal
    panels: int
    unclassed_because: Annotated[
        str,
        serializers.ChoiceField(
            DOUBTS, help_text="Why panels are not classed, or not all of them."
        ),
    ]
    usual_microns: Annotated[float | None, "Null with too few panels."]
    groups: GroupsOutput | None
    caveats: Sequence[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class TwinsOutput(Answer):
    """The same panel left and right."""

    left: str
    right: str
    difference_microns: Annotated[float, "Left less right."]
    alike: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SuppliesOutput(Answer):
    """What one machine polish of the whole vehicle takes."""

    body_size: Annotated[str, "Medium where the order names none."]
    square_metres: float
    pads: int
    compound_millilitres: int
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OfferedFindingOutput(Answer):
    """A finding in the fields that POST /jobs/{job_id}/findings takes; send it, or do not."""

    kind: str
    weight: str
    area: str
    noticed: str
    circumstance: str
    advice: str
    from_paint_survey: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PaintOutput(Answer):
    """The survey with its working. Offered findings are shown to the workshop only."""

    can_tell: Annotated[bool, "False where no metal has five panels measured."]
    cautions: Sequence[str]
    sentence: Annotated[str, "What stands out, in words."]
    comparisons: Sequence[ComparisonOutput]
    baselines: Sequence[BaselineOutput]
    film: Annotated[
        str, serializers.ChoiceField(FILMS, help_text="Is a film or wrap on all of the vehicle?")
    ]
    film_words: str
    panels: Sequence[PanelOutput]
    twins: Sequence[TwinsOutput]
    system: System
    system_words: str
    why_unsure: str
    supplies: SuppliesOutput
    offered_findings: Sequence[OfferedFindingOutput]
    readings: Annotated[Rows, SpotReadingOutput(many=True)]
    tests: Annotated[Rows, PaintTestOutput(many=True)]
    passes: Annotated[Rows, PassesOutput(many=True)]
    film_checks: Annotated[Rows, FilmCheckOutput(many=True)]
