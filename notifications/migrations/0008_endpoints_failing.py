from django.db import migrations, models

from core.indexes import AddIndexBeside


class Migration(migrations.Migration):

    atomic = False

    dependencies = [
        ('notifications', '0007_trace'),
    ]

    operations = [
        AddIndexBeside(
            model_name='endpoint',
            index=models.Index(condition=models.Q(('failing_since__isnull', False)), fields=['failing_since'], name='endpoint_failing'),
        ),
    ]
