"""What callers see of the flow; all times are minutes, all shares percent."""

from typing import Any

from rest_framework import serializers

from core.api.serializers import ZonedDateTimeField
from jobs.work.calc.flow.control_chart import Rule, Side
from jobs.work.calc.flow.course import CAUSES, STAGES
from jobs.work.models import Job

STAGE_CHOICES = [(stage.value, stage.value) for stage in STAGES]
CAUSE_CHOICES = [(cause.value, cause.value) for cause in CAUSES]
# Runs and jumps are not told any more; what is told only grows.
RULE_CHOICES = [(rule.value, rule.value) for rule in Rule]
SIDE_CHOICES = [(side.value, side.value) for side in Side]


def _share() -> serializers.FloatField:
    return serializers.FloatField(allow_null=True, help_text="Null: of no cars.")


class CauseOutput(serializers.Serializer[Any]):
    """Time of one cause in one stage."""

    cause = serializers.ChoiceField(CAUSE_CHOICES)
    cause_words = serializers.CharField()
    minutes = serializers.FloatField()
    share_percent = _share()


class StageFlowOutput(serializers.Serializer[Any]):
    """One stage: of all time from arrival to ready, what was spent in it, and how."""

    stage = serializers.ChoiceField(STAGE_CHOICES)
    cars = serializers.IntegerField(help_text="That spent time in it.")
    minutes = serializers.FloatField()
    share_percent = _share()
    minutes_a_car = serializers.FloatField(help_text="Mean of the cars that spent time in it.")
    working_minutes = serializers.FloatField()
    waiting_minutes = serializers.FloatField()
    waited_for_minutes = serializers.FloatField(
        help_text="Nobody on the car until this stage's people began, wherever it stood."
    )
    mean_inside = serializers.FloatField(help_text="Cars in it at once, on average.")
    causes = CauseOutput(many=True)


class LeadOutput(serializers.Serializer[Any]):
    """How long cars took from arrival to ready; `few`: too few to lean on."""

    dealer_id = serializers.UUIDField(allow_null=True)
    dealer = serializers.CharField(help_text="Empty: all dealers.", allow_blank=True)
    purpose = serializers.ChoiceField(
        [("", "all purposes"), *Job.Purpose.choices], allow_blank=True
    )
    cars = serializers.IntegerField()
    p50_minutes = serializers.FloatField(help_text="Half took no longer (nearest rank).")
    p80_minutes = serializers.FloatField(help_text="Four in five took no longer.")
    few = serializers.BooleanField()


class LeadsOutput(serializers.Serializer[Any]):
    """Times from arrival to ready."""

    all = LeadOutput(allow_null=True)
    by_dealer = LeadOutput(many=True)
    by_purpose = LeadOutput(many=True)
    by_dealer_and_purpose = LeadOutput(many=True)


class FlowCarsOutput(serializers.Serializer[Any]):
    """How many cars; `arrived` of those that became ready or are still in work."""

    finished = serializers.IntegerField()
    arrived = serializers.IntegerField()
    inside_at_start = serializers.IntegerField()
    inside_at_end = serializers.IntegerField()


class OnTimeOutput(serializers.Serializer[Any]):
    """Cars ready by the time they were wanted, of those with such a time."""

    with_due = serializers.IntegerField()
    on_time = serializers.IntegerField()
    percent = _share()


class ReworkOutput(serializers.Serializer[Any]):
    """Finished cars that went back at least once."""

    cars = serializers.IntegerField()
    percent = _share()


class InWorkOutput(serializers.Serializer[Any]):
    """Cars here now and not ready, whatever the period."""

    stage = serializers.ChoiceField(STAGE_CHOICES)
    cause = serializers.ChoiceField(CAUSE_CHOICES)
    cause_words = serializers.CharField()
    cars = serializers.IntegerField()


class PointOutput(serializers.Serializer[Any]):
    """One car of the chart, with the rules that fired at it."""

    job_id = serializers.UUIDField()
    registration = serializers.CharField(help_text="Or the VIN.")
    dealer_ref = serializers.CharField(allow_blank=True)
    ready_at = ZonedDateTimeField()
    lead_minutes = serializers.FloatField()
    rules = serializers.ListField(child=serializers.ChoiceField(RULE_CHOICES))


class LimitsOutput(serializers.Serializer[Any]):
    """Centre and limits; from car to car the time seldom changes by more than `jump_factor`."""

    centre_minutes = serializers.FloatField()
    lower_minutes = serializers.FloatField()
    upper_minutes = serializers.FloatField()
    jump_factor = serializers.FloatField()
    provisional = serializers.BooleanField()


class SignalOutput(serializers.Serializer[Any]):
    """A rule that fired, at which car, and with which car it began.

    A lasting shift fires at the car by which it stood out, and began with another.
    """

    rule = serializers.ChoiceField(RULE_CHOICES)
    side = serializers.ChoiceField(SIDE_CHOICES)
    job_id = serializers.UUIDField()
    begins_job_id = serializers.UUIDField()
    cars = serializers.IntegerField(help_text="Cars since it began, or until the next shift.")
    words = serializers.CharField()


class ChartOutput(serializers.Serializer[Any]):
    """The chart of the period's latest cars; `limits` is null below eight cars."""

    points = PointOutput(many=True)
    limits = LimitsOutput(allow_null=True)
    signals = SignalOutput(many=True)
    compared_with_cars = serializers.IntegerField(
        help_text="Cars before those shown that say what is usual."
    )
    steady = serializers.CharField(help_text="How often a steady workshop's chart has a signal.")
    method = serializers.CharField()


class LoadOutput(serializers.Serializer[Any]):
    """Minutes worked over minutes there were; waits are null from 98 % on, endless."""

    percent = serializers.FloatField()
    people = serializers.IntegerField()
    wait_minutes = serializers.FloatField(allow_null=True)
    wait_minutes_with_a_tenth_more_cars = serializers.FloatField(allow_null=True)
    words = serializers.CharField(help_text="What the load means for waiting.")
    assumes = serializers.CharField()


class LimitingOutput(serializers.Serializer[Any]):
    """The stage that limits the workshop; `load` is null where no minutes of work are set."""

    stage = serializers.ChoiceField(STAGE_CHOICES, allow_null=True)
    minutes = serializers.FloatField(allow_null=True)
    share_percent = _share()
    definition = serializers.CharField()
    load = LoadOutput(allow_null=True)


class LittleOutput(serializers.Serializer[Any]):
    """Little's law; `difference` is `unfinished_at_its_end` less `before_the_period`."""

    mean_inside = serializers.FloatField()
    finished_a_day = serializers.FloatField()
    mean_days = serializers.FloatField()
    by_law = serializers.FloatField()
    difference = serializers.FloatField()
    before_the_period = serializers.FloatField()
    unfinished_at_its_end = serializers.FloatField()
    words = serializers.CharField()


class FlowOutput(serializers.Serializer[Any]):
    """Where cars waited: those that became ready in the period, and `in_work` those here now."""

    since = serializers.DateField()
    until = serializers.DateField()
    dealer = serializers.UUIDField(allow_null=True)
    purpose = serializers.ChoiceField(
        [("", "all purposes"), *Job.Purpose.choices], allow_blank=True
    )
    cars = FlowCarsOutput()
    stages = StageFlowOutput(many=True)
    lead = LeadsOutput()
    on_time = OnTimeOutput()
    rework = ReworkOutput()
    in_work = InWorkOutput(many=True)
    chart = ChartOutput()
    limiting = LimitingOutput()
    little = LittleOutput()
