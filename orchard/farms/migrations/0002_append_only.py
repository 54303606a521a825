from django.db import migrations

from orchard.farms import append_only


class Migration(migrations.Migration):
    dependencies = [("farms", "0001_initial")]

    operations = [
        append_only.functions(),
        append_only.refuse("farms_auditentry"),
        append_only.refuse("farms_change"),
    ]
