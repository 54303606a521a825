import django.contrib.postgres.indexes
from django.contrib.postgres.operations import AddIndexConcurrently
from django.db import migrations


class Migration(migrations.Migration):

    atomic = False

    dependencies = [
        ('farms', '0009_audit_is_sealed'),
    ]

    operations = [
        AddIndexConcurrently(
            model_name='auditentry',
            index=django.contrib.postgres.indexes.BrinIndex(fields=['transaction_number'], name='audit_by_transaction'),
        ),
    ]
