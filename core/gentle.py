"""Steps of migrations that the release before can go on working beside.

They stand in a migration with `atomic = False`, so that on PostgreSQL each statement has its locks
for itself, and for a moment: within one transaction they would be held while Django draws up the
models for the next step. Each may be run again where a migration broke off.
"""

from collections.abc import Callable, Iterator, Sequence
from typing import Any, TypeVar

from django.contrib.postgres.operations import AddConstraintNotValid, ValidateConstraint
from django.db import migrations, transaction

BATCH = 500
T = TypeVar("T")


def _in_one_go(schema_editor: Any, step: Callable[[], None], *, always: bool = False) -> None:
    """Run a step in a transaction where it is more than one statement: SQLite makes tables anew."""
    if schema_editor.connection.vendor == "postgresql" and not always:
        step()
        return
    with transaction.atomic(schema_editor.connection.alias):
        step()


class AddFieldBeside(migrations.AddField):
    """Adds a column, unless it is there. One with an index is for small tables only."""

    def database_forwards(
        self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any
    ) -> None:
        """Add the column, with its index at once."""
        model = to_state.apps.get_model(app_label, self.model_name)
        add = super().database_forwards

        def step() -> None:
            add(app_label, schema_editor, from_state, to_state)
            for statement in schema_editor.deferred_sql:
                schema_editor.execute(statement)
            schema_editor.deferred_sql.clear()

        if not self._made(schema_editor.connection, model):
            indexed = model._meta.get_field(self.name).db_index  # noqa: SLF001  Django's own way
            _in_one_go(schema_editor, step, always=indexed)

    def _made(self, connection: Any, model: Any) -> bool:
        """Return whether the column is there."""
        about = model._meta  # noqa: SLF001  Django's own way to ask a model
        with connection.cursor() as cursor:
            columns = connection.introspection.get_table_description(cursor, about.db_table)
        return about.get_field(self.name).column in {column.name for column in columns}


class AlterFieldBeside(migrations.AlterField):
    """Lets a column be empty, or changes what it is by itself. Nothing that rewrites its table."""

    def database_forwards(
        self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any
    ) -> None:
        """Change the column."""
        change = super().database_forwards
        _in_one_go(schema_editor, lambda: change(app_label, schema_editor, from_state, to_state))


class AddCheckBeside(AddConstraintNotValid):
    """Holds rows to come to a check; `LookAtRows` has PostgreSQL look at those there are.

    The one step that cannot be run again, so the last of its migration.
    """

    def database_forwards(
        self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any
    ) -> None:
        """Add the check."""
        add = super().database_forwards
        if schema_editor.connection.vendor != "postgresql":
            add = super(AddConstraintNotValid, self).database_forwards
        _in_one_go(schema_editor, lambda: add(app_label, schema_editor, from_state, to_state))


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
