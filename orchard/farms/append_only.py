"""What makes a table append-only in the database itself: a trigger that refuses, whoever asks."""

from __future__ import annotations

from django.db import migrations

FUNCTION = """
CREATE OR REPLACE FUNCTION orchard_refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '% is append-only: % is refused, write a new row instead', TG_TABLE_NAME, TG_OP
        USING ERRCODE = 'restrict_violation';
END $$;

CREATE OR REPLACE FUNCTION orchard_refuse_other_columns() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF to_jsonb(OLD) - TG_ARGV <> to_jsonb(NEW) - TG_ARGV THEN
        RAISE EXCEPTION 'only % of % may change: write a new row instead', TG_ARGV, TG_TABLE_NAME
            USING ERRCODE = 'restrict_violation';
    END IF;
    RETURN NEW;
END $$;
"""
FUNCTION_UNDONE = """
DROP FUNCTION orchard_refuse_change();
DROP FUNCTION orchard_refuse_other_columns();
"""


def functions() -> migrations.RunSQL:
    """Return the step that makes the functions which the triggers call."""
    return migrations.RunSQL(FUNCTION, FUNCTION_UNDONE)


def refuse(table: str) -> migrations.RunSQL:
    """Return the step that makes a table refuse update and delete."""
    return migrations.RunSQL(
        f"CREATE TRIGGER {table}_is_append_only BEFORE UPDATE OR DELETE ON {table} "
        "FOR EACH ROW EXECUTE FUNCTION orchard_refuse_change()",
        f"DROP TRIGGER {table}_is_append_only ON {table}",
    )


def refuse_but(table: str, *columns: str) -> migrations.RunSQL:
    """Return the step that makes a table refuse delete, and update of all but the named columns."""
    names = ", ".join(f"'{column}'" for column in columns)
    return migrations.RunSQL(
        f"CREATE TRIGGER {table}_is_kept BEFORE DELETE ON {table} "
        "FOR EACH ROW EXECUTE FUNCTION orchard_refuse_change();"
        f"CREATE TRIGGER {table}_is_frozen BEFORE UPDATE ON {table} "
        f"FOR EACH ROW EXECUTE FUNCTION orchard_refuse_other_columns({names})",
        f"DROP TRIGGER {table}_is_kept ON {table}; DROP TRIGGER {table}_is_frozen ON {table}",
    )
