"""Of two versions of a label that begin on one day, which one counts would be chance: only one may be approved.

Where a farm has two already, the one that was entered last is in force and stays so; the others never were in
force beside it, and are withdrawn with that as their reason, so that the index can be built.
"""

from django.db import migrations, models

WITHDRAW_WHAT_NEVER_HELD = """
UPDATE inventory_labelversion AS older
SET status = 'withdrawn', decided_at = now(), decided_by = 'upgrade', version = version + 1, updated_at = now(),
    decision_reason = 'another version from the same day was entered after it, and is the one in force'
WHERE status = 'approved' AND EXISTS (
    SELECT FROM inventory_labelversion AS newer
    WHERE newer.product_id = older.product_id AND newer.effective_from = older.effective_from
      AND newer.status = 'approved' AND (newer.created_at, newer.id) > (older.created_at, older.id)
)
"""
NAME = "a_product_has_one_approved_label_from_a_day"


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("inventory", "0008_lean_indexes")]
    operations = [
        migrations.RunSQL(WITHDRAW_WHAT_NEVER_HELD, migrations.RunSQL.noop),
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.AddConstraint(
                    "labelversion",
                    models.UniqueConstraint(
                        fields=("product", "effective_from"),
                        condition=models.Q(status="approved"),
                        name=NAME,
                    ),
                )
            ],
            database_operations=[
                migrations.RunSQL(f'DROP INDEX CONCURRENTLY IF EXISTS "{NAME}"', migrations.RunSQL.noop),
                migrations.RunSQL(
                    f'CREATE UNIQUE INDEX CONCURRENTLY "{NAME}" ON inventory_labelversion '
                    "(product_id, effective_from) WHERE status = 'approved'",
                    f'DROP INDEX CONCURRENTLY IF EXISTS "{NAME}"',
                ),
            ],
        ),
    ]
