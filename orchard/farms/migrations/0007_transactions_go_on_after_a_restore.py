from django.db import migrations, models

import orchard.farms.models
from orchard.farms import numbering


class Migration(migrations.Migration):

    dependencies = [
        ('farms', '0006_calendar_feeds_and_webhooks'),
    ]

    operations = [
        migrations.RunSQL(numbering.NONE, numbering.UNDONE),
        migrations.AlterField(
            model_name='change',
            name='transaction_number',
            field=models.BigIntegerField(db_default=orchard.farms.models.PlaceInFeed()),
        ),
        migrations.AlterField(
            model_name='outboxevent',
            name='seq',
            field=models.BigIntegerField(db_default=orchard.farms.models.PlaceInFeed()),
        ),
    ]
