from django.db import migrations

from orchard.farms import lean_indexes


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("inventory", "0007_lean_ledger")]
    operations = lean_indexes.without_farm_index(
        "inventory",
        "containerrecord",
        "labelversion",
        "lot",
        "product",
        "productdocument",
        "reservation",
        "shelfcount",
        "shortage",
        "stockimport",
        "stocktake",
        "storeplace",
    )
