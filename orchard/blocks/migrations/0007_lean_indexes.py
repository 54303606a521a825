from django.db import migrations

from orchard.farms import lean_indexes


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("blocks", "0006_what_stands_beside_a_forecast")]
    operations = lean_indexes.without_farm_index(
        "blocks",
        "block",
        "scoutingcount",
        "stageforecast",
        "stageobservation",
    )
