from django.db import migrations

from orchard.farms import append_only


class Migration(migrations.Migration):
    dependencies = [("inventory", "0001_initial"), ("farms", "0002_append_only")]

    operations = [
        append_only.refuse("inventory_labelversion"),
        append_only.refuse("inventory_movement"),
    ]
