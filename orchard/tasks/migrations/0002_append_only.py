from django.db import migrations

from orchard.farms import append_only


class Migration(migrations.Migration):
    dependencies = [("tasks", "0001_initial"), ("farms", "0002_append_only")]

    operations = [
        append_only.refuse("tasks_mixcheck"),
        append_only.refuse("tasks_override"),
        append_only.refuse("tasks_appliedproduct"),
        append_only.refuse("tasks_incident"),
        append_only.refuse_but(
            "tasks_applicationrecord", "status", "corrected_by_id", "version", "updated_at"
        ),
    ]
