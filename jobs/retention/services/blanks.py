"""What stands in a column once its words have gone."""

from typing import Any

from django.db.models import Case, CharField, JSONField, Model, Value, When
from django.db.models.functions import Cast, Concat

DELETED = "(deleted)"
# Columns of which the database wants something where something was.
WANTED = frozenset({"returned_to", "acknowledged_by", "over_by"})
# The database wants a registration or a VIN of every car.
NO_REGISTRATION = "-"


def blank_of(model: type[Model], name: str) -> Any:
    """Return what to write into a column, as a value or an expression."""
    field: Any = model._meta.get_field(name)  # noqa: SLF001  Django's own way to ask a model
    if isinstance(field, JSONField):
        return field.get_default()
    if name == "registration_key":
        return NO_REGISTRATION
    if name == "item":  # once only in a car
        return Concat(Value(f"{DELETED} "), Cast("pk", CharField()), output_field=CharField())
    if name in WANTED:
        return Case(When(**{name: ""}, then=Value("")), default=Value(DELETED))
    return "" if field.blank else DELETED
