from django.db import migrations

from orchard.farms import outbox

WAKE = f"""
CREATE OR REPLACE FUNCTION orchard_outbox_wakes() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF NOT pg_try_advisory_xact_lock_shared({outbox.ASLEEP}) THEN
        PERFORM pg_notify('{outbox.CHANNEL}', '');
    END IF;
    RETURN NULL;
END $$;
"""
ALWAYS = f"""
CREATE OR REPLACE FUNCTION orchard_outbox_wakes() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM pg_notify('{outbox.CHANNEL}', '');
    RETURN NULL;
END $$;
"""


class Migration(migrations.Migration):
    dependencies = [("farms", "0011_lean_indexes")]
    operations = [migrations.RunSQL(WAKE, ALWAYS)]
