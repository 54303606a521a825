from django.db import migrations, models

from orchard.farms import outbox

WAKE = f"""
CREATE FUNCTION orchard_outbox_wakes() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM pg_notify('{outbox.CHANNEL}', '');
    RETURN NULL;
END $$;

CREATE TRIGGER farms_outboxevent_wakes AFTER INSERT ON farms_outboxevent
    FOR EACH STATEMENT EXECUTE FUNCTION orchard_outbox_wakes();
"""
WAKE_UNDONE = """
DROP TRIGGER farms_outboxevent_wakes ON farms_outboxevent;
DROP FUNCTION orchard_outbox_wakes();
"""


class Migration(migrations.Migration):
    dependencies = [("farms", "0003_labels_may_need_approval")]

    operations = [
        migrations.AddField("outboxevent", "no_job", models.BooleanField(default=False)),
        migrations.AddIndex(
            "outboxevent",
            models.Index(
                fields=("farm", "seq", "id"),
                condition=models.Q(processed_at=None, set_aside_at=None),
                name="outbox_of_a_farm_in_order",
            ),
        ),
        migrations.RunSQL(WAKE, WAKE_UNDONE),
    ]
