"""What is answered, declared once: a frozen dataclass is the body, and the schema is read from it.

    @dataclass(frozen=True, slots=True, kw_only=True)
    class LeadOutput(Answer):
        '''How long cars took.'''

        cars: int
        p50_minutes: Annotated[float, "Half took no longer."]
        stage: Annotated[str, serializers.ChoiceField(STAGES)]

A view declares `responses={200: LeadOutput}` and answers `Response(LeadOutput(…))`.
"""

from collections.abc import Callable, Mapping, Sequence
from copy import deepcopy
from datetime import datetime
from functools import cache
from typing import Any, get_type_hints

from drf_spectacular.extensions import OpenApiSerializerExtension
from drf_spectacular.plumbing import ComponentIdentity
from rest_framework import serializers
from rest_framework_dataclasses.serializers import DataclassSerializer

from core.api.serializers import ZonedDateTimeField

# What an `OutputModelSerializer` made; the serializer stands beside it in `Annotated`.
Row = Mapping[str, Any]
Rows = Sequence[Row]


class Answer:
    """The base of every answer but those made from one model.

    A sentence in `Annotated` describes a field; a field of DRF there says all about it, as which
    choices there are. Amounts of money do not belong here: `OutputModelSerializer` hides a
    model's. `tests/api/test_answers.py` holds all of them to it.
    """

    __slots__ = ()


class _AnswerSerializer(DataclassSerializer[Any]):
    """Describes an answer."""

    serializer_field_mapping: Any = {
        **DataclassSerializer.serializer_field_mapping,
        datetime: ZonedDateTimeField,
    }

    def create_field(self, field_name: str, extra_kwargs: dict[str, Any]) -> Any:
        """Return what stands in `Annotated`, or the field that the type asks for."""
        answer: Any = self.dataclass_definition.dataclass_type
        for said in _said_of(answer).get(field_name, ()):
            if isinstance(said, serializers.Field):
                return deepcopy(said)
            extra_kwargs = {**extra_kwargs, "help_text": said}
        return super().create_field(field_name, extra_kwargs)

    def build_dataclass_field(self, field_name: str, type_info: Any) -> tuple[Any, dict[str, Any]]:
        """Return how an answer within this one is described."""
        del field_name
        return serializer_of(type_info.base_type), {}


@cache
def _said_of(answer: type[Answer]) -> dict[str, tuple[Any, ...]]:
    hints = get_type_hints(answer, include_extras=True)
    return {name: getattr(hint, "__metadata__", ()) for name, hint in hints.items()}


@cache
def serializer_of(
    answer: type[Answer], made_by: Callable[[Any], Answer] | None = None
) -> type[serializers.Serializer[Any]]:
    """Return what describes an answer within a serializer; `made_by` makes it of each row."""
    members: dict[str, Any] = {
        "__doc__": answer.__doc__,
        "Meta": type("Meta", (), {"dataclass": answer}),
    }
    if made_by is not None:
        members["to_representation"] = lambda _self, row: made_by(row)
    return type(answer.__name__, (_AnswerSerializer,), members)


class AnswerExtension(OpenApiSerializerExtension):  # type: ignore[no-untyped-call]
    """Lets drf-spectacular take an answer wherever it takes a serializer."""

    target_class = Answer
    match_subclasses = True

    def get_name(self, *_: Any) -> str:
        """Return the name of the component."""
        return str(self.target.__name__)

    def get_identity(self, *_: Any) -> ComponentIdentity:
        """Return what tells whether two components are one."""
        return ComponentIdentity(self.target)  # type: ignore[no-untyped-call]

    def map_serializer(self, auto_schema: Any, direction: Any) -> Any:
        """Return the schema."""
        return auto_schema._map_serializer(serializer_of(self.target)(), direction)  # noqa: SLF001  as its own extensions do
