from django.db import migrations

from orchard.farms import append_only


class Migration(migrations.Migration):
    dependencies = [("crews", "0002_initial"), ("farms", "0002_append_only")]

    operations = [
        append_only.refuse("crews_calibration"),
    ]
