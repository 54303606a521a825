from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("farms", "0004_outbox_wakes")]

    operations = [
        migrations.AddField("outboxevent", "sent", models.PositiveIntegerField(default=0)),
    ]
