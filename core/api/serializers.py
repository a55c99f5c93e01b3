"""Serializers that refuse unknown fields by name, and fields for times with a zone."""

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from functools import reduce
from typing import Any, ClassVar, Generic, TypeVar, get_args, get_origin

from django.db import models
from django.http import QueryDict
from rest_framework import serializers
from rest_framework.fields import empty

from core.clock import now
from core.money import amounts_of
from core.text import one_line, visible

T = TypeVar("T")
MAX_NAMED = 20
LONGEST_LINE = 200  # a text that may be longer may have several lines
MOST_CHOICES = 20  # more are looked up where they are listed
CLOCK_DRIFT = timedelta(minutes=2)
OLDEST_DEVICE_TIME = timedelta(days=30)


class ZonedDateTimeField(serializers.DateTimeField):
    """An RFC 3339 instant; one without a zone is refused, since nobody knows which was meant."""

    default_error_messages = {
        "invalid": "Give a date, a time and its zone, as in 2027-03-01T09:30:00Z.",
        "date": "Give a time and its zone as well, as in 2027-03-01T09:30:00Z.",
        "overflow": "This time cannot be told in UTC.",
        "no_zone": "Give the zone, as in 2027-03-01T09:30:00Z or 2027-03-01T09:30:00+01:00.",
    }

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("default_timezone", UTC)
        super().__init__(**kwargs)

    def enforce_timezone(self, value: datetime) -> datetime:
        if value.tzinfo is None:
            self.fail("no_zone")
        try:
            return value.astimezone(UTC)
        except (OverflowError, ValueError):
            self.fail("overflow", timezone="UTC")
            raise


class DeviceTimeField(ZonedDateTimeField):
    """When something was done by the device's clock: not to come, and not long past."""

    default_error_messages = {
        "to_come": "This time is still to come; set the device's clock.",
        "long_past": "This is more than 30 days ago; set the device's clock.",
    }

    def to_internal_value(self, value: Any) -> datetime:
        instant = super().to_internal_value(value)
        if instant > now() + CLOCK_DRIFT:
            self.fail("to_come")
        if instant < now() - OLDEST_DEVICE_TIME:
            self.fail("long_past")
        return instant


def _name_choices(field: Any) -> None:
    """Name the choices of a field with a few of them where something else was sent."""
    names = [str(name) for name in getattr(field, "choices", ()) if name != ""]
    if isinstance(field, serializers.ChoiceField) and len(names) <= MOST_CHOICES:
        said = f"“{{input}}” is not a valid choice. Choose one of: {', '.join(names)}."
        field.error_messages = {**field.error_messages, "invalid_choice": said}


class NameField(serializers.CharField):
    """A name by which somebody is known: what cannot be seen in it is refused, never left out.

    The service says what is wrong with it (`accounts.services.checks.name_error`).
    """


def _seen(field: Any, value: Any) -> Any:
    """Return what was sent for a field without what cannot be seen, and short texts in one line.

    A password is taken as it is typed. What is no text is looked at by the field itself.
    """
    if isinstance(field, serializers.ListField) and isinstance(value, list):
        return [_seen(field.child, entry) for entry in value]
    if not (isinstance(value, str) and isinstance(field, serializers.CharField)):
        return value
    if isinstance(field, NameField) or not field.trim_whitespace:
        return value
    short = field.max_length is not None and field.max_length <= LONGEST_LINE
    return one_line(value) if short else visible(value)


class StrictSerializer(serializers.Serializer[Any]):
    """An input: unknown fields are refused by name together with every other error."""

    _shared_fields: ClassVar[dict[tuple[type, bool], Any]] = {}

    @property
    def fields(self) -> Any:
        """Return the fields, made once for each class: DRF copies them for every request.

        They are safe to share, for nothing in an input's fields looks at the instance but
        `partial`, and partial inputs have fields of their own.
        """
        kind = (type(self), self.partial)
        if kind not in self._shared_fields:
            made: Any = serializers.Serializer.fields
            self._shared_fields[kind] = made.func(type(self)(partial=self.partial))
            for field in self._shared_fields[kind].values():
                _name_choices(getattr(field, "child", field))
        return self._shared_fields[kind]

    def errors_across(self, data: Mapping[str, Any]) -> dict[str, list[str]]:
        """Return errors that concern several fields, told together with all the others."""
        del data
        return {}

    def _cleaned(self, data: Mapping[str, Any]) -> Any:
        """Return what was sent without what cannot be seen; a form stays one."""
        if isinstance(data, QueryDict):
            form = data.copy()
            for name in form.keys() & self.fields.keys():
                field = getattr(self.fields[name], "child", self.fields[name])
                form.setlist(name, [_seen(field, value) for value in form.getlist(name)])
            return form
        fields = self.fields
        return {
            name: _seen(fields[name], value) if name in fields else value
            for name, value in data.items()
        }

    def to_internal_value(self, data: Any) -> Any:
        unknown: dict[str, list[str]] = {}
        if isinstance(data, Mapping):
            names = sorted(str(name) for name in data if name not in self.fields)
            known = ", ".join(sorted(self.fields))
            for name in names[:MAX_NAMED]:
                unknown[name] = [f"There is no such field. Known fields: {known}."]
            unknown.update(self.errors_across(data))
            data = self._cleaned(data)
        try:
            value = super().to_internal_value(data)
        except serializers.ValidationError as error:
            if isinstance(error.detail, dict):
                raise serializers.ValidationError({**error.detail, **unknown}) from error
            raise
        if unknown:
            raise serializers.ValidationError(unknown)
        return value


class Input(Generic[T], StrictSerializer):
    """An input that yields the frozen dataclass of the service that takes it, checked and whole.

    Name it as in `Input[NewThing]`; each field of the input is one of the dataclass. What may be
    left out has a default there.
    """

    yields: ClassVar[type]

    def __init_subclass__(cls) -> None:
        """Keep which dataclass was named."""
        super().__init_subclass__()
        for base in getattr(cls, "__orig_bases__", ()):
            if isinstance(get_origin(base), type) and issubclass(get_origin(base), Input):
                cls.yields = get_args(base)[0]

    def run_validation(self, data: Any = empty) -> Any:
        """Return the dataclass; null where that may be. Raises ValidationError."""
        values = super().run_validation(data)
        return self.yields(**values) if isinstance(values, dict) else values


class OutputModelSerializer(serializers.ModelSerializer[Any]):
    """An output made from a model.

    Columns are handed to the renderer as they are (it writes instants in UTC), without DRF's
    field by field conversion, which costs more than the query. Amounts of money are null, unless
    the context says that they may be seen (`shown_to` in `accounts/caller.py`).
    """

    serializer_field_mapping = {
        **serializers.ModelSerializer.serializer_field_mapping,
        models.DateTimeField: ZonedDateTimeField,
    }

    @classmethod
    def rows(
        cls, instances: Iterable[Any], context: dict[str, Any] | None = None
    ) -> list[dict[str, Any]]:
        """Return how each of some instances is shown."""
        shown = cls(context=context or {})
        return [shown.to_representation(instance) for instance in instances]

    def to_representation(self, instance: Any) -> dict[str, Any]:
        shown: dict[str, Any] = {}
        hidden = frozenset() if self.context.get("shows_money") else amounts_of(self.Meta.model)
        for name in self.Meta.fields:
            field = self._declared_fields.get(name)
            if name in hidden:
                shown[name] = None
            elif isinstance(field, serializers.SerializerMethodField):
                shown[name] = getattr(self, f"get_{name}")(instance)
            elif isinstance(field, serializers.ListSerializer) and field.child:
                rows = getattr(instance, name)
                rows = rows.all() if hasattr(rows, "all") else rows
                shown[name] = [field.child.to_representation(row) for row in rows]
            else:
                path = field.source if field is not None and field.source else name
                shown[name] = reduce(getattr, path.split("."), instance)
        return shown
