"""The feed keeps the last position it gave, so that deleting events never makes it start again."""

from django.apps.registry import Apps
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.models import Max


def begin_at_the_end(apps: Apps, _editor: BaseDatabaseSchemaEditor) -> None:
    last = apps.get_model("notifications", "Event").objects.aggregate(last=Max("position"))["last"]
    apps.get_model("notifications", "FeedEnd").objects.create(pk=1, position=last or 0)


class Migration(migrations.Migration):
    dependencies = [("notifications", "0003_also_types")]
    operations = [
        migrations.CreateModel(
            name="FeedEnd",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("position", models.BigIntegerField(default=0)),
            ],
        ),
        migrations.RunPython(begin_at_the_end, migrations.RunPython.noop),
    ]
