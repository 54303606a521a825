from django.db import migrations

from orchard.farms import lean_indexes


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("crews", "0004_cleaning_nozzle_and_droplets")]
    operations = lean_indexes.without_farm_index(
        "crews",
        "calibration",
        "crew",
        "qualification",
        "sprayer",
        "worker",
    )
