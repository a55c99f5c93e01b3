"""Indexes that are made while the service goes on working."""

from typing import Any

from django.db import migrations, models


class AddIndexBeside(migrations.AddIndex):
    """Adds an index without stopping writers, where the database can: PostgreSQL.

    The migration says `atomic = False`, since PostgreSQL makes such an index outside of any
    transaction. It may be run again: an index that broke off is made anew.
    """

    def database_forwards(
        self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any
    ) -> None:
        """Make the index."""
        if schema_editor.connection.vendor != "postgresql":
            super().database_forwards(app_label, schema_editor, from_state, to_state)
            return
        model = to_state.apps.get_model(app_label, self.model_name)
        if self.allow_migrate_model(schema_editor.connection.alias, model):
            made = self._made(schema_editor.connection)
            if made is False:
                schema_editor.remove_index(model, self.index, concurrently=True)
            if not made:
                schema_editor.add_index(model, self.index, concurrently=True)

    def _made(self, connection: Any) -> bool | None:
        """Return whether the index is whole; None where there is nothing of it."""
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT indisvalid FROM pg_index WHERE indexrelid = to_regclass(%s)",
                [connection.ops.quote_name(self.index.name)],
            )
            row = cursor.fetchone()
        return row[0] if row else None


class RemoveIndexOfForeignKey(migrations.AlterField):
    """Drops the index that a foreign key has by itself, where another begins with its column.

    The field is given as it becomes, with `db_index=False`. The index is looked up by its column,
    since its name has an end of Django's own; like `AddIndexBeside` it wants `atomic = False`.
    """

    def database_forwards(
        self, app_label: str, schema_editor: Any, _from_state: Any, to_state: Any
    ) -> None:
        """Drop the index."""
        model = to_state.apps.get_model(app_label, self.model_name)
        connection = schema_editor.connection
        if self.allow_migrate_model(connection.alias, model):
            beside = "CONCURRENTLY " if connection.vendor == "postgresql" else ""
            for name in self._indexes(connection, model):
                schema_editor.execute(f"DROP INDEX {beside}{schema_editor.quote_name(name)}")

    def database_backwards(
        self, app_label: str, schema_editor: Any, _from_state: Any, to_state: Any
    ) -> None:
        """Make an index over the column again."""
        model = to_state.apps.get_model(app_label, self.model_name)
        if self.allow_migrate_model(schema_editor.connection.alias, model):
            name = f"{self.model_name}_{self.name}_alone"[:30]
            schema_editor.add_index(model, models.Index(fields=[self.name], name=name))

    def _indexes(self, connection: Any, model: Any) -> list[str]:
        """Return the names of the plain indexes over the field's column alone."""
        about = model._meta  # noqa: SLF001  Django's own way to ask a model
        column = about.get_field(self.name).column
        with connection.cursor() as cursor:
            made = connection.introspection.get_constraints(cursor, about.db_table)
        ours = {index.name for index in about.indexes}
        return [
            name
            for name, found in made.items()
            if found["index"] and not (found["unique"] or found["primary_key"])
            if found["columns"] == [column] and name not in ours
        ]
