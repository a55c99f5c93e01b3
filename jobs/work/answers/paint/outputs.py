"""What callers see of paint."""

from typing import Any

from rest_framework import serializers

from core.api.serializers import OutputModelSerializer
from jobs.work.calc.car.areas import PANELS
from jobs.work.calc.paint.comparison import Doubt
from jobs.work.calc.paint.film import FilmAnswer
from jobs.work.calc.paint.survey import FilmClass, Material, Spot
from jobs.work.calc.paint.system import Fade, PaintSystem
from jobs.work.models import FilmCheck, PaintTest, PassesDone, SpotReading

CLASSES = [(one.value, one.words) for one in FilmClass]
SYSTEMS = [(system.value, system.words) for system in PaintSystem]
FILMS = [(answer.value, answer.words) for answer in FilmAnswer]
DOUBTS = [(doubt.value, doubt.value.replace("_", " ")) for doubt in Doubt]
FADES = [(fade.value, fade.value.replace("_", " ")) for fade in Fade]
STAMP = ("occurred_at", "recorded_at", "actor", "set_aside_at", "set_aside_reason")


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

    def get_microns(self, one: SpotReading) -> float | None:
        """Return the mean."""
        return short(one.microns)

    def get_deviation_microns(self, one: SpotReading) -> float | None:
        """Return how far the single readings scatter."""
        if not one.readings:
            return None
        spot = Spot(one.panel, Material(one.material), tuple(one.readings))
        return short(spot.deviation_microns, 2)


class SpotReadingsOutput(serializers.Serializer[Any]):
    """The readings as recorded."""

    readings = SpotReadingOutput(many=True)


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


class FilmCheckMadeOutput(serializers.Serializer[Any]):
    """An answer just recorded, and what holds for the whole vehicle now."""

    check = FilmCheckOutput()
    film = serializers.ChoiceField(FILMS)
    film_words = serializers.CharField()


class VerdictOutput(serializers.Serializer[Any]):
    """What the tests say of a panel."""

    system = serializers.ChoiceField(SYSTEMS)
    system_words = serializers.CharField()
    why_unsure = serializers.CharField(
        help_text="Why the system is not sure, and what to do; empty where it is."
    )
    fade = serializers.ChoiceField(FADES)
    fade_words = serializers.CharField()


class PaintTestMadeOutput(VerdictOutput):
    """A test just recorded, and what all tests of the panel say now."""

    test = PaintTestOutput()


class LeftOutput(serializers.Serializer[Any]):
    """Film that may still go, and for how many passes of one kind or the other it lasts."""

    microns = serializers.FloatField()
    cut_passes = serializers.IntegerField()
    finish_passes = serializers.IntegerField()


class AllowanceOutput(serializers.Serializer[Any]):
    """What a panel can still stand; the conservative figures count."""

    conservative = LeftOutput()
    hopeful = LeftOutput()
    assumption = serializers.CharField()


class PassesMadeOutput(serializers.Serializer[Any]):
    """Passes just recorded, and what the panel can stand after them."""

    done = PassesOutput()
    allowance = AllowanceOutput(allow_null=True)
    cautions = serializers.ListField(child=serializers.CharField())


class DoneOutput(serializers.Serializer[Any]):
    """Machine passes over a panel so far."""

    cut = serializers.IntegerField()
    finish = serializers.IntegerField()


class PanelOutput(VerdictOutput):
    """One panel. Figures are null where nothing was measured or there is nothing to compare.

    A panel is compared with those of its own metal. `modified_z` is 0.6745 (x - median) / MAD over
    all of them; `z_counted` is measured from the last baseline with its spread, and it decides,
    beyond 3.5. The class says how the panel compares, no more: `as_made` is "like the rest of this
    car". `caveats` belong to every word on the panel.
    """

    panel = serializers.ChoiceField([(code, panel.name) for code, panel in PANELS.items()])
    name = serializers.CharField()
    material = serializers.ChoiceField(SpotReading.Material.choices, allow_null=True)
    film_class = serializers.ChoiceField(CLASSES)
    film_class_words = serializers.CharField()
    spots = serializers.IntegerField()
    microns = serializers.FloatField(allow_null=True, help_text="Median of the panel's spots.")
    lowest_microns = serializers.FloatField(allow_null=True)
    highest_microns = serializers.FloatField(allow_null=True)
    difference_microns = serializers.FloatField(allow_null=True, help_text="From the baseline.")
    modified_z = serializers.FloatField(allow_null=True)
    z_counted = serializers.FloatField(allow_null=True)
    reasons = serializers.ListField(child=serializers.CharField())
    caveats = serializers.ListField(child=serializers.CharField())
    film = serializers.ChoiceField(FILMS, help_text="Is a film or wrap on it?")
    film_words = serializers.CharField()
    allowance = AllowanceOutput(allow_null=True)
    no_allowance_because = serializers.CharField(help_text="Empty where there is an allowance.")
    passes_done = DoneOutput()
    square_metres = serializers.FloatField(allow_null=True)


class BaselineOutput(serializers.Serializer[Any]):
    """What panels of one metal were compared with; what stood out is left out of the next one."""

    material = serializers.ChoiceField(SpotReading.Material.choices)
    counts = serializers.BooleanField(help_text="The last one of its metal, which decides.")
    panels = serializers.ListField(child=serializers.CharField())
    median_microns = serializers.FloatField()
    mad_microns = serializers.FloatField()
    spread_microns = serializers.FloatField()


class GroupsOutput(serializers.Serializer[Any]):
    """Two groups that the panels of one metal fall into."""

    thinner = serializers.ListField(child=serializers.CharField())
    thicker = serializers.ListField(child=serializers.CharField())
    thinner_microns = serializers.FloatField()
    thicker_microns = serializers.FloatField()


class ComparisonOutput(serializers.Serializer[Any]):
    """How the panels of one metal compare, and why they are not classed, or not all of them."""

    material = serializers.ChoiceField(SpotReading.Material.choices)
    panels = serializers.IntegerField()
    unclassed_because = serializers.ChoiceField(
        DOUBTS, help_text="Why panels are not classed, or not all of them."
    )
    usual_microns = serializers.FloatField(allow_null=True, help_text="Null with too few panels.")
    groups = GroupsOutput(allow_null=True)
    caveats = serializers.ListField(child=serializers.CharField())


class TwinsOutput(serializers.Serializer[Any]):
    """The same panel left and right."""

    left = serializers.CharField()
    right = serializers.CharField()
    difference_microns = serializers.FloatField(help_text="Left less right.")
    alike = serializers.BooleanField()


class SuppliesOutput(serializers.Serializer[Any]):
    """What one machine polish of the whole vehicle takes."""

    body_size = serializers.CharField(help_text="Medium where the order names none.")
    square_metres = serializers.FloatField()
    pads = serializers.IntegerField()
    compound_millilitres = serializers.IntegerField()
    note = serializers.CharField()


class OfferedFindingOutput(serializers.Serializer[Any]):
    """A finding in the fields that POST /jobs/{job_id}/findings takes; send it, or do not."""

    kind = serializers.CharField()
    weight = serializers.CharField()
    area = serializers.CharField()
    noticed = serializers.CharField()
    circumstance = serializers.CharField()
    advice = serializers.CharField()
    from_paint_survey = serializers.BooleanField()


class PaintOutput(serializers.Serializer[Any]):
    """The survey with its working. Offered findings are shown to the workshop only."""

    can_tell = serializers.BooleanField(help_text="False where no metal has five panels measured.")
    cautions = serializers.ListField(child=serializers.CharField())
    sentence = serializers.CharField(help_text="What stands out, in words.")
    comparisons = ComparisonOutput(many=True)
    baselines = BaselineOutput(many=True)
    film = serializers.ChoiceField(FILMS, help_text="Is a film or wrap on all of the vehicle?")
    film_words = serializers.CharField()
    panels = PanelOutput(many=True)
    twins = TwinsOutput(many=True)
    system = serializers.ChoiceField(SYSTEMS)
    system_words = serializers.CharField()
    why_unsure = serializers.CharField()
    supplies = SuppliesOutput()
    offered_findings = OfferedFindingOutput(many=True)
    readings = SpotReadingOutput(many=True)
    tests = PaintTestOutput(many=True)
    passes = PassesOutput(many=True)
    film_checks = FilmCheckOutput(many=True)
