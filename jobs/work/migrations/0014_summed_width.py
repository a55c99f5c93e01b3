"""Keep the least that an interval was wide, beside the sum that a long clock goes on from."""

from django.db import migrations, models

from core.gentle import AddFieldBeside, LookAtRows


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("jobs", "0013_clock_halted_has_no_end")]

    operations = [
        LookAtRows("waitclock", name="clock_halted_has_no_end"),
        migrations.AlterField(
            model_name="waitclock",
            name="earliest_at",
            field=models.DateTimeField(
                null=True, help_text="Not done before this, by what was measured so far."
            ),
        ),
        AddFieldBeside(
            model_name="waitclock",
            name="summed_width",
            field=models.PositiveIntegerField(
                null=True, help_text="Seconds: no reading since makes the interval wider than this."
            ),
        ),
    ]
