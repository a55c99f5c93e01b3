"""What a vehicle runs on; the database's own default serves code that does not know it yet.

First the cars of a "do not drive" are marked, which 0007 has made room for.
"""

from django.apps.registry import Apps
from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from core.gentle import AddFieldBeside, LookAtRows, batches


def mark_jobs(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    stops = apps.get_model("jobs", "Finding").objects.filter(weight="do_not_drive")
    kept_off = list(stops.values_list("job_id", flat=True).distinct())
    jobs = apps.get_model("jobs", "Job").objects.filter(do_not_drive=False)
    for part in batches(kept_off):
        jobs.filter(pk__in=part).update(do_not_drive=True)


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("jobs", "0007_do_not_drive")]

    operations = [
        migrations.RunPython(mark_jobs, migrations.RunPython.noop),
        LookAtRows("finding", name="finding_over_by_somebody"),
        AddFieldBeside(
            model_name="job",
            name="fuel",
            field=models.CharField(
                blank=True,
                choices=[
                    ("petrol", "Petrol"),
                    ("diesel", "Diesel"),
                    ("hybrid", "Hybrid"),
                    ("electric", "Electric"),
                    ("gas", "Gas"),
                ],
                db_default="",
                default="",
                help_text="What it runs on, as the order says or as it was booked in; empty: not known.",
                max_length=10,
            ),
        ),
    ]
