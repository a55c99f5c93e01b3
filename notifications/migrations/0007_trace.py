from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('notifications', '0006_feed_at_restore'),
    ]

    operations = [
        migrations.AddField(
            model_name='event',
            name='trace',
            field=models.CharField(blank=True, db_default='', default='', editable=False, max_length=55),
        ),
    ]
