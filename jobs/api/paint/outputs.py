"""What callers see of paint."""

from typing import Any

from rest_framework import serializers

from core.api.serializers import OutputModelSerializer
from jobs.calc.areas import PANELS
from jobs.calc.paint import FilmClass, Material, Spot
from jobs.calc.paint_system import Fade, PaintSystem
from jobs.models import PaintTest, PassesDone, SpotReading

CLASSES = [(one.value, one.words) for one in FilmClass]
SYSTEMS = [(one.value, one.words) for one in PaintSystem]
FADES = [(one.value, one.value.replace("_", " ")) for one in Fade]
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
        fields = ("id", "panel", "pad_colour", "faded", "darkens_when_wet", "note", *STAMP)


class PassesOutput(OutputModelSerializer):
    """Machine passes done; `warning` is what spoke against them, `reason` why they were done."""

    class Meta:
        model = PassesDone
        fields = ("id", "panel", "kind", "passes", "warning", "reason", *STAMP)


class VerdictOutput(serializers.Serializer[Any]):
    """What the tests say of a panel."""

    system = serializers.ChoiceField(SYSTEMS)
    system_words = serializers.CharField()
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

    `modified_z` is 0.6745 (x - median) / MAD over all panels compared; `z_counted` is measured
    from the last baseline with its spread, and it decides, beyond 3.5.
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
    allowance = AllowanceOutput(allow_null=True)
    passes_done = DoneOutput()
    square_metres = serializers.FloatField(allow_null=True)


class BaselineOutput(serializers.Serializer[Any]):
    """What panels were compared with; panels that stood out are left out of the next one."""

    panels = serializers.ListField(child=serializers.CharField())
    median_microns = serializers.FloatField()
    mad_microns = serializers.FloatField()
    spread_microns = serializers.FloatField()


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

    can_tell = serializers.BooleanField(help_text="False with fewer than five metal panels.")
    cautions = serializers.ListField(child=serializers.CharField())
    baselines = BaselineOutput(many=True)
    panels = PanelOutput(many=True)
    twins = TwinsOutput(many=True)
    system = serializers.ChoiceField(SYSTEMS)
    system_words = serializers.CharField()
    supplies = SuppliesOutput()
    offered_findings = OfferedFindingOutput(many=True)
    readings = SpotReadingOutput(many=True)
    tests = PaintTestOutput(many=True)
    passes = PassesOutput(many=True)
