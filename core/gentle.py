"""Steps of migrations that the release before can go on working beside."""

from collections.abc import Iterator, Sequence
from typing import Any, TypeVar

from django.contrib.postgres.operations import AddConstraintNotValid, ValidateConstraint
from django.db import migrations
from django.db.migrations.operations.base import Operation

BATCH = 500
T = TypeVar("T")


class AtOnce(migrations.SeparateDatabaseAndState):
    """Does all of its operations in one transaction, within a migration that has none.

    What changes a table belongs in one: on SQLite that is made anew, and half of it is no table.
    """

    atomic = True

    def __init__(self, operations: Sequence[Operation]) -> None:
        super().__init__(database_operations=operations, state_operations=operations)

    def deconstruct(self) -> tuple[str, list[Any], dict[str, Any]]:
        """Return how it is written in a migration."""
        return type(self).__name__, [self.state_operations], {}


class AddCheckBeside(AddConstraintNotValid):
    """Holds rows to come to a check; PostgreSQL looks at those there are with `LookAtRows`."""

    def database_forwards(
        self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any
    ) -> None:
        """Add the check."""
        if schema_editor.connection.vendor == "postgresql":
            super().database_forwards(app_label, schema_editor, from_state, to_state)
        else:
            migrations.AddConstraint.database_forwards(
                self, app_label, schema_editor, from_state, to_state
            )


class LookAtRows(ValidateConstraint):
    """Has PostgreSQL look at the rows there are, while others read and write them."""

    def database_forwards(
        self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any
    ) -> None:
        """Look; other databases have looked as the check was added."""
        if schema_editor.connection.vendor == "postgresql":
            super().database_forwards(app_label, schema_editor, from_state, to_state)


def batches(keys: Sequence[T]) -> Iterator[Sequence[T]]:
    """Yield keys of rows, so many at a time that nobody waits long for those that are changed."""
    for first in range(0, len(keys), BATCH):
        yield keys[first : first + BATCH]
