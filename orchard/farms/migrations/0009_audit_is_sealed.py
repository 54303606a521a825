import django.db.models.deletion
from django.db import migrations, models

import orchard.farms.models
from orchard.farms import append_only


class Migration(migrations.Migration):

    dependencies = [
        ('farms', '0008_a_farm_has_a_gate_code'),
    ]

    operations = [
        migrations.CreateModel(
            name='AuditLink',
            fields=[
                ('entry_id', models.UUIDField(editable=False, primary_key=True, serialize=False)),
                ('farm', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='farms.farm')),
                ('position', models.BigIntegerField()),
                ('transaction_number', models.BigIntegerField()),
                ('hash', models.BinaryField(max_length=32)),
                ('sealed_at', models.DateTimeField()),
            ],
            options={
                'ordering': ('farm', 'position'),
                'indexes': [models.Index(fields=['transaction_number'], name='seals_by_transaction')],
                'constraints': [models.UniqueConstraint(fields=('farm', 'position'), name='an_audit_has_one_entry_at_a_place')],
            },
        ),
        append_only.refuse("farms_auditlink"),
        # What is there already gets the number of this transaction, once for all rows and without writing them.
        migrations.AddField(
            model_name='auditentry',
            name='transaction_number',
            field=models.BigIntegerField(db_default=orchard.farms.models.PlaceInFeed()),
        ),
    ]
