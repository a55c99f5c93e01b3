"""What is answered about work orders."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

from core.api.answers import Answer, Rows, serializer_of
from jobs.work.models import ScopeChange


@dataclass(frozen=True, slots=True, kw_only=True)
class RemarkOutput(Answer):
    """Something doubtful, and the field it is about."""

    field: str
    message: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LineOutput(Answer):
    """The answer to one line of a batch."""

    line: Annotated[int, "1 for the first work order; headers do not count."]
    status: Annotated[int, "201, or the status it would have had alone."]
    job_id: UUID | None
    remarks: Annotated[Rows, serializer_of(RemarkOutput)(many=True)]
    problem: Annotated[dict[str, Any] | None, "RFC 9457, where it was refused."]


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchOutput(Answer):
    """The answer to a batch."""

    received: int
    refused: int
    lines: Sequence[LineOutput]


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnOutput(Answer):
    """One column of the CSV form."""

    name: str
    meaning: str
    example: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnsOutput(Answer):
    """The columns of the CSV form."""

    columns: Sequence[ColumnOutput]


@dataclass(frozen=True, slots=True, kw_only=True)
class ScopeChangeOutput(Answer):
    """A change the dealer made while the car was here."""

    number: Annotated[int, "Of its entry in the history."]
    fields_changed: Sequence[str]
    changed_at: datetime
    changed_by: str
    seen_at: Annotated[datetime | None, "Empty: the workshop has to see it."]
    seen_by: str


def scope_change(change: ScopeChange) -> ScopeChangeOutput:
    """Name what changed; the history has the values, for those who may see them."""
    entry = change.entry
    return ScopeChangeOutput(
        number=entry.number,
        fields_changed=[changed["field"] for changed in entry.data["changes"]],
        changed_at=entry.occurred_at,
        changed_by=entry.actor,
        seen_at=change.seen_at,
        seen_by=change.seen_by,
    )
