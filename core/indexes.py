"""Indexes that are made while the service goes on working."""

from typing import Any

from django.db import migrations


class AddIndexBeside(migrations.AddIndex):
    """Adds an index without stopping writers, where the database can: PostgreSQL.

    The migration says `atomic = False`, since PostgreSQL makes such an index outside of any
    transaction. Where making it broke off, an invalid index of its name is left: drop that, and
    migrate again.
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
            schema_editor.add_index(model, self.index, concurrently=True)
