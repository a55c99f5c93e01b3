"""What callers see of the flow; all times are minutes, all shares percent."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated
from uuid import UUID

from rest_framework import serializers

from core.api.answers import Answer
from jobs.work.calc.flow.control_chart import Rule, Side
from jobs.work.calc.flow.course import CAUSES, STAGES
from jobs.work.models import Job

STAGE_CHOICES = [(stage.value, stage.value) for stage in STAGES]
CAUSE_CHOICES = [(cause.value, cause.value) for cause in CAUSES]
# Runs and jumps are not told any more; what is told only grows.
RULE_CHOICES = [(rule.value, rule.value) for rule in Rule]
SIDE_CHOICES = [(side.value, side.value) for side in Side]


Stage = Annotated[str, serializers.ChoiceField(STAGE_CHOICES)]
Cause = Annotated[str, serializers.ChoiceField(CAUSE_CHOICES)]
Purpose = Annotated[
    str,
    serializers.ChoiceField([("", "all purposes"), *Job.Purpose.choices], allow_blank=True),
]
Share = Annotated[float | None, "Null: of no cars."]


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseOutput(Answer):
    """Time of one cause in one stage."""

    cause: Cause
    cause_words: str
    minutes: float
    share_percent: Share


@dataclass(frozen=True, slots=True, kw_only=True)
class StageFlowOutput(Answer):
    """One stage: of all time from arrival to ready, what was spent in it, and how."""

    stage: Stage
    cars: Annotated[int, "That spent time in it."]
    minutes: float
    share_percent: Share
    minutes_a_car: Annotated[float, "Mean of the cars that spent time in it."]
    working_minutes: float
    waiting_minutes: float
    waited_for_minutes: Annotated[
        float, "Nobody on the car until this stage's people began, wherever it stood."
    ]
    mean_inside: Annotated[float, "Cars in it at once, on average."]
    causes: Sequence[CauseOutput]


@dataclass(frozen=True, slots=True, kw_only=True)
class LeadOutput(Answer):
    """How long cars took from arrival to ready; `few`: too few to lean on."""

    dealer_id: UUID | None
    dealer: Annotated[str, "Empty: all dealers."]
    purpose: Purpose
    cars: int
    p50_minutes: Annotated[float, "Half took no longer (nearest rank)."]
    p80_minutes: Annotated[float, "Four in five took no longer."]
    few: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LeadsOutput(Answer):
    """Times from arrival to ready."""

    all: LeadOutput | None
    by_dealer: Sequence[LeadOutput]
    by_purpose: Sequence[LeadOutput]
    by_dealer_and_purpose: Sequence[LeadOutput]


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowCarsOutput(Answer):
    """How many cars; `arrived` of those that became ready or are still in work."""

    finished: int
    arrived: int
    inside_at_start: int
    inside_at_end: int


@dataclass(frozen=True, slots=True, kw_only=True)
class OnTimeOutput(Answer):
    """Cars ready by the time they were wanted, of those with such a time."""

    with_due: int
    on_time: int
    percent: Share


@dataclass(frozen=True, slots=True, kw_only=True)
class ReworkOutput(Answer):
    """Finished cars that went back at least once."""

    cars: int
    percent: Share


@dataclass(frozen=True, slots=True, kw_only=True)
class InWorkOutput(Answer):
    """Cars here now and not ready, whatever the period."""

    stage: Stage
    cause: Cause
    cause_words: str
    cars: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PointOutput(Answer):
    """One car of the chart, with the rules that fired at it."""

    job_id: UUID
    registration: Annotated[str, "Or the VIN."]
    dealer_ref: str
    ready_at: datetime
    lead_minutes: float
    rules: Annotated[
        Sequence[str], serializers.ListField(child=serializers.ChoiceField(RULE_CHOICES))
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsOutput(Answer):
    """Centre and limits; from car to car the time seldom changes by more than `jump_factor`."""

    centre_minutes: float
    lower_minutes: float
    upper_minutes: float
    jump_factor: float
    provisional: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SignalOutput(Answer):
    """A rule that fired, at which car, and with which car it began.

    A lasting shift fires at the car by which it stood out, and began with another.
    """

    rule: Annotated[str, serializers.ChoiceField(RULE_CHOICES)]
    side: Annotated[str, serializers.ChoiceField(SIDE_CHOICES)]
    job_id: UUID
    begins_job_id: UUID
    cars: Annotated[int, "Cars since it began, or until the next shift."]
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartOutput(Answer):
    """The chart of the period's latest cars; `limits` is null below eight cars."""

    points: Sequence[PointOutput]
    limits: LimitsOutput | None
    signals: Sequence[SignalOutput]
    compared_with_cars: Annotated[int, "Cars before those shown that say what is usual."]
    steady: Annotated[str, "How often a steady workshop's chart has a signal."]
    method: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadOutput(Answer):
    """Minutes worked over minutes there were; waits are null from 98 % on, endless."""

    percent: float
    people: int
    wait_minutes: float | None
    wait_minutes_with_a_tenth_more_cars: float | None
    words: Annotated[str, "What the load means for waiting."]
    assumes: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitingOutput(Answer):
    """The stage that limits the workshop; `load` is null where no minutes of work are set."""

    stage: Annotated[str | None, serializers.ChoiceField(STAGE_CHOICES, allow_null=True)]
    minutes: float | None
    share_percent: Share
    definition: str
    load: LoadOutput | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LittleOutput(Answer):
    """Little's law; `difference` is `unfinished_at_its_end` less `before_the_period`."""

    mean_inside: float
    finished_a_day: float
    mean_days: float
    by_law: float
    difference: float
    before_the_period: float
    unfinished_at_its_end: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowOutput(Answer):
    """Where cars waited: those that became ready in the period, and `in_work` those here now."""

    since: date
    until: date
    dealer: UUID | None
    purpose: Purpose
    cars: FlowCarsOutput
    stages: Sequence[StageFlowOutput]
    lead: LeadsOutput
    on_time: OnTimeOutput
    rework: ReworkOutput
    in_work: Sequence[InWorkOutput]
    chart: ChartOutput
    limiting: LimitingOutput
    little: LittleOutput
