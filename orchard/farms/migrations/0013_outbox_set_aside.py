"""What was set aside is found without reading the whole outbox."""

from django.contrib.postgres.operations import AddIndexConcurrently
from django.db import migrations, models


class Migration(migrations.Migration):
    atomic = False

    dependencies = [
        ('farms', '0012_only_sleepers_are_woken'),
    ]

    operations = [
        AddIndexConcurrently(
            model_name='outboxevent',
            index=models.Index(condition=models.Q(('processed_at', None), ('set_aside_at__isnull', False)), fields=['farm', 'seq'], name='outbox_set_aside'),
        ),
    ]
