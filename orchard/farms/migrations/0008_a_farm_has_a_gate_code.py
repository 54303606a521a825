from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('farms', '0007_transactions_go_on_after_a_restore'),
    ]

    operations = [
        migrations.AddField(
            model_name='farm',
            name='gate_code',
            field=models.CharField(max_length=100, null=True),
        ),
    ]
