import django.db.models.deletion
from django.db import migrations, models

from orchard.inventory import chain_sql


class Migration(migrations.Migration):
    dependencies = [("inventory", "0006_chain")]

    operations = [
        chain_sql.one_expression(),
        migrations.AlterField(
            "movement",
            "farm",
            models.ForeignKey(
                db_index=False,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="farms.farm",
            ),
        ),
        migrations.AlterField(
            "movement",
            "lot",
            models.ForeignKey(
                db_index=False,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="movements",
                to="inventory.lot",
            ),
        ),
    ]
