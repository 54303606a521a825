from django.db import migrations, models

from orchard.inventory import chain_sql, chaining

TRIGGER = "ALTER TABLE inventory_movement {} TRIGGER inventory_movement_is_append_only"


def chain_all(apps, schema_editor):
    with schema_editor.connection.cursor() as cursor:
        cursor.execute(TRIGGER.format("DISABLE"))
        chaining.chain_all(cursor)
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute(TRIGGER.format("ENABLE"))


class Migration(migrations.Migration):
    dependencies = [("inventory", "0005_storekeeping")]

    operations = [
        migrations.AddField(
            "lot", "chain_length", models.PositiveBigIntegerField(default=0)
        ),
        migrations.AddField(
            "lot", "chain_head", models.CharField(max_length=70, default="", blank=True)
        ),
        migrations.AddField(
            "movement", "position", models.PositiveBigIntegerField(default=0), preserve_default=False
        ),
        migrations.AddField(
            "movement", "hash", models.CharField(max_length=70, default=""), preserve_default=False
        ),
        chain_sql.functions(),
        migrations.RunPython(chain_all, migrations.RunPython.noop),
        migrations.AddConstraint(
            "movement",
            models.UniqueConstraint(fields=("lot", "position"), name="a_line_has_its_own_place_in_a_ledger"),
        ),
        migrations.RemoveIndex("movement", "movements_of_a_lot"),
        chain_sql.trigger(),
    ]
