"""What the release before needs on these tables, for databases that were migrated without it."""

from django.db import migrations, models

from core.gentle import AlterFieldBeside
from jobs.work.migrations import _stand_ins


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("jobs", "0018_no_index_twice")]

    operations = [
        AlterFieldBeside(
            model_name="waitclock",
            name="summed_least",
            field=models.FloatField(
                db_default=0.0, default=0.0, help_text="Minutes at the reference."
            ),
        ),
        AlterFieldBeside(
            model_name="waitclock",
            name="summed_most",
            field=models.FloatField(db_default=0.0, default=0.0),
        ),
        migrations.RunPython(_stand_ins.mark_jobs, _stand_ins.leave_jobs_unmarked),
        migrations.RunPython(_stand_ins.empty_ends, _stand_ins.leave_ends),
    ]
