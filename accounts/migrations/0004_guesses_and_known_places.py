import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("accounts", "0003_pages")]

    operations = [
        migrations.CreateModel(
            name="Guesses",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("window", models.BigIntegerField()),
                ("subject", models.CharField(max_length=64)),
                ("count", models.PositiveIntegerField(default=0)),
            ],
            options={
                "verbose_name_plural": "guesses",
                "constraints": [
                    models.UniqueConstraint(
                        fields=("window", "subject"), name="guesses_counted_once"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="KnownPlace",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("place", models.CharField(max_length=64)),
                ("last_used_at", models.DateTimeField(db_index=True)),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="known_places",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("person", "place"), name="known_place_once"
                    )
                ],
            },
        ),
    ]
