"""Refuse, in the database, an end of a halted clock, and a clock without either."""

from django.db import migrations, models
from django.db.models import Q

from core.gentle import AddCheckBeside


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("jobs", "0012_halted_clocks")]

    operations = [
        AddCheckBeside(
            model_name="waitclock",
            constraint=models.CheckConstraint(
                condition=(Q(halted="") & Q(ends_at__isnull=False))
                | (~Q(halted="") & Q(ends_at__isnull=True)),
                name="clock_halted_has_no_end",
            ),
        )
    ]
