"""What a vehicle runs on; the database's own default serves code that does not know it yet."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("jobs", "0007_do_not_drive")]

    operations = [
        migrations.AddField(
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
