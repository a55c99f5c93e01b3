"""A count of what changes on an organisation's pages; after `migrate` triggers raise it."""

from django.apps.registry import Apps
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from accounts.pages_version import triggers_drop


def stay(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    """Leave the triggers to the end of `migrate`, when every table is there."""


def go(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    """Drop the triggers before the table that they write to."""
    triggers_drop(schema_editor.connection.alias)


class Migration(migrations.Migration):
    dependencies = [("accounts", "0007_no_index_twice")]
    operations = [
        migrations.CreateModel(
            name="PagesVersion",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("organisation_id", models.UUIDField()),
                ("count", models.PositiveBigIntegerField()),
            ],
            options={
                "indexes": [models.Index(fields=["organisation_id"], name="pages_version_of")],
            },
        ),
        migrations.RunPython(stay, go),
    ]
