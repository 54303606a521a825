from django.db import migrations

from orchard.farms import lean_indexes


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("tasks", "0007_a_farms_own_experience_with_pairs")]
    operations = lean_indexes.without_farm_index(
        "tasks",
        "applicationrecord",
        "briefing",
        "incident",
        "load",
        "mixcheck",
        "notice",
        "noticerule",
        "override",
        "pairnote",
        "planningrun",
        "programme",
        "workorder",
    )
