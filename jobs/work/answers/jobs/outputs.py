"""What callers see of jobs."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from core.api.answers import Answer, Rows, serializer_of
from core.api.serializers import OutputModelSerializer
from jobs.work.answers.curing.outputs import ClockOutput, clock_shown
from jobs.work.answers.orders import RemarkOutput, ScopeChangeOutput, scope_change
from jobs.work.calc.stages.machine import moves_from
from jobs.work.models import HistoryEntry, Hold, Job, Task
from jobs.work.models.jobs.history import without_amounts

ORDER_FIELDS = (
    "dealer_ref",
    "registration",
    "vin",
    "make",
    "model",
    "colour",
    "first_registered",
    "mileage",
    "mileage_unit",
    "body_size",
    "fuel",
    "purpose",
    "operations",
    "due_at",
    "cap_minutes",
    "cap_amount",
    "cap_currency",
    "location",
    "keys",
    "supplied",
    "contact_name",
    "contact_phone",
    "contact_email",
    "notes",
)
STATE_FIELDS = (
    "id",
    "dealer_id",
    "workshop_id",
    "stage",
    "decision",
    "on_hold",
    "do_not_drive",
    "is_open",
    "rework_count",
    "soiling",
    "version",
    "received_at",
    "arrived_at",
    "ready_at",
    "collected_at",
    "cancelled_at",
    "updated_at",
    "allowed_moves",
    "remarks",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class AllowedMoveOutput(Answer):
    """A move that is open now; rework moves need a reason."""

    to: str
    rework: bool


class TaskOutput(OutputModelSerializer):
    """One operation on the job."""

    class Meta:
        model = Task
        fields = (
            "id",
            "operation",
            "name",
            "stage",
            "state",
            "planned_minutes",
            "actual_minutes",
            "doubt",
            "told_minutes",
            "started_at",
            "finished_at",
            "note",
        )


class HoldOutput(OutputModelSerializer):
    """A wait; `ended_at` is empty while it lasts."""

    class Meta:
        model = Hold
        fields = ("id", "cause", "reason", "started_at", "ended_at")


class JobOutput(OutputModelSerializer):
    """A job as lists show it. `cap_amount` is empty for callers without the scope prices.read."""

    dealer_id = serializers.UUIDField()
    workshop_id = serializers.UUIDField()
    on_hold = serializers.SerializerMethodField()
    allowed_moves = serializers.SerializerMethodField()
    operations = serializers.ListField(child=serializers.CharField())
    supplied = serializers.ListField(child=serializers.CharField())
    remarks = serializer_of(RemarkOutput)(many=True)

    class Meta:
        model = Job
        fields: tuple[str, ...] = (*STATE_FIELDS, *ORDER_FIELDS)

    def get_on_hold(self, job: Job) -> bool:
        """Return whether the job waits for something."""
        return job.open_holds > 0

    @extend_schema_field(serializer_of(AllowedMoveOutput)(many=True))
    def get_allowed_moves(self, job: Job) -> list[AllowedMoveOutput]:
        """Return the moves open now."""
        return [AllowedMoveOutput(to=move.to, rework=move.back) for move in moves_from(job.state)]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReminderOutput(Answer):
    """Something that is open and must not be forgotten."""

    code: str
    text: str


class JobDetailOutput(JobOutput):
    """A job with its tasks, holds and clocks, and what is open (`reminders` in the context)."""

    tasks = TaskOutput(many=True)
    holds = HoldOutput(many=True)
    clocks = serializer_of(ClockOutput, clock_shown)(many=True)
    reminders = serializers.SerializerMethodField()
    changes_to_see = serializers.SerializerMethodField(
        help_text="What the dealer changed while the car is here; empty seen_at: not seen yet."
    )

    class Meta(JobOutput.Meta):
        fields = (
            *JobOutput.Meta.fields,
            "tasks",
            "holds",
            "clocks",
            "reminders",
            "changes_to_see",
        )

    @extend_schema_field(serializer_of(ScopeChangeOutput)(many=True))
    def get_changes_to_see(self, job: Job) -> list[ScopeChangeOutput]:
        """Return the dealer's changes, oldest first, with who saw each."""
        return [scope_change(change) for change in job.scope_changes.all()]

    @extend_schema_field(serializer_of(ReminderOutput)(many=True))
    def get_reminders(self, _job: Job) -> list[ReminderOutput]:
        """Return what is open, most urgent first."""
        return [ReminderOutput(**reminder) for reminder in self.context["reminders"]]


class HistoryEntryOutput(OutputModelSerializer):
    """One thing that happened."""

    data = serializers.DictField(  # type: ignore[assignment]  # a column of this name
        help_text="What belongs to this kind of entry."
    )

    class Meta:
        model = HistoryEntry
        fields = (
            "number",
            "kind",
            "version",
            "made_against",
            "from_stage",
            "to_stage",
            "reason",
            "occurred_at",
            "recorded_at",
            "actor",
            "data",
        )

    def to_representation(self, instance: HistoryEntry) -> dict[str, Any]:
        """Name changed amounts without showing them to those who may not see prices."""
        shown = super().to_representation(instance)
        changes = instance.data.get("changes")
        if changes and not self.context.get("shows_money"):
            shown["data"] = {**instance.data, "changes": without_amounts(changes)}
        return shown


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryOutput(Answer):
    """The whole history, oldest first."""

    entries: Annotated[Rows, HistoryEntryOutput(many=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadyCarOutput(Answer):
    """A car that is ready to be collected."""

    id: UUID
    workshop_id: UUID
    dealer_ref: str
    registration: str
    vin: str
    make: str
    model: str
    colour: str
    purpose: str
    due_at: datetime | None
    arrived_at: datetime | None
    ready_at: datetime
    rework_count: int
    version: int
    ready_number: Annotated[int, "Higher: became ready later."]
    on_hold: Annotated[bool, "It waits for something."]
    do_not_drive: Annotated[
        bool, "It must not be driven: have it transported. Never show it as simply ready."
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadyOutput(Answer):
    """The dealer's ready cars."""

    cars: Sequence[ReadyCarOutput]
    cursor: Annotated[int, "Send it as `after` to see only later ones."]
    more: Annotated[bool, "True: there are further cars; read them all from after=0, page by page."]
