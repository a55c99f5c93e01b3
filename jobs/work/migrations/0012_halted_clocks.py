"""Clocks that are halted have no end, products a highest temperature, long sums a place to go on.

What stood as the end of a halted clock was only how far the sum had looked ahead. Where nobody
felt it and its car is not gone, it runs again, and is worked out anew with the next readings.
"""

from django.db import migrations, models
from django.db.models import Case, F, When

from core.gentle import AddFieldBeside, AlterFieldBeside, batches
from jobs.work.migrations import _stand_ins


def take_horizons_back(apps, schema_editor):
    """Empty the ends that were only horizons, and have their workshops' clocks worked out again."""
    halted = apps.get_model("jobs", "WaitClock").objects.exclude(halted="")
    halted = halted.filter(ends_at__isnull=False)
    jobs = apps.get_model("jobs", "Job").objects
    setups = apps.get_model("jobs", "ClimateSetup").objects
    for part in batches(list(halted.values_list("pk", flat=True))):
        clocks = halted.filter(pk__in=part)  # by now some may go on again
        running = clocks.filter(closed_at__isnull=True, job__is_open=True)
        again = dict(running.values_list("pk", "job_id"))
        waiting = jobs.filter(pk__in=set(again.values()))
        waiting.update(waits_told=None)
        workshops = set(waiting.values_list("workshop_id", flat=True))
        setups.bulk_create(
            [setups.model(workshop_id=workshop_id) for workshop_id in workshops],
            ignore_conflicts=True,
        )
        setups.filter(workshop_id__in=workshops).update(clocks_due=True)
        # The last, and in one: by the end it is known what is done, and a trigger empties it too.
        clocks.update(
            earliest_at=Case(When(earliest_at__lt=F("ends_at"), then=F("earliest_at"))),
            settled_at=Case(When(pk__in=list(again), then=None), default=F("settled_at")),
            ends_at=None,
        )


def add_sum(name, **more):
    """Return what adds a sum of minutes; the database fills it in, and 0019 says so."""
    field = models.FloatField(default=0.0, **more)
    filled = models.FloatField(default=0.0, db_default=0.0, **more)
    return migrations.SeparateDatabaseAndState(
        database_operations=[AddFieldBeside("waitclock", name, filled)],
        state_operations=[migrations.AddField("waitclock", name, field)],
    )


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("jobs", "0011_film_and_looks")]

    operations = [
        AlterFieldBeside(
            model_name="waitclock",
            name="ends_at",
            field=models.DateTimeField(
                help_text="Done by then. Empty: it is halted, and nobody can say when.", null=True
            ),
        ),
        migrations.RunPython(_stand_ins.empty_ends, _stand_ins.leave_ends),
        migrations.RunPython(take_horizons_back, migrations.RunPython.noop),
        AddFieldBeside(
            model_name="waitclock",
            name="highest_celsius",
            field=models.FloatField(help_text="No credit above; empty: ours.", null=True),
        ),
        AddFieldBeside(
            model_name="waitclock", name="summed_at", field=models.DateTimeField(null=True)
        ),
        add_sum("summed_least", help_text="Minutes at the reference."),
        add_sum("summed_most"),
        AddFieldBeside(
            model_name="product",
            name="highest_celsius",
            field=models.FloatField(
                help_text="Warmer than this it cures no quicker; empty: ours.", null=True
            ),
        ),
    ]
