"""The chain of a ledger in the database: the hash in SQL, and a trigger that refuses what does not follow.

It says the same as `chain` in another language, so each proves the other with every line that is written.
"""

from __future__ import annotations

from django.db import migrations

TIME = 'YYYY-MM-DD"T"HH24:MI:SS.US'
REFUSED = "USING ERRCODE = 'integrity_constraint_violation', CONSTRAINT = 'a_line_follows_the_one_before'"

FUNCTIONS = f"""
CREATE FUNCTION orchard_framed(said text) RETURNS text LANGUAGE sql IMMUTABLE AS $$
    SELECT coalesce(octet_length(convert_to(said, 'UTF8')) || ':' || said, '-')
$$;

CREATE FUNCTION orchard_moment(at timestamptz) RETURNS text LANGUAGE sql IMMUTABLE AS $$
    SELECT to_char(at AT TIME ZONE 'UTC', '{TIME}') || '+00:00'
$$;

CREATE FUNCTION orchard_movement_hash(before text, line inventory_movement) RETURNS text
LANGUAGE plpgsql STABLE AS $$
BEGIN
    RETURN '1:' || encode(sha256(convert_to(
        '1:1' || chr(10) || orchard_framed(before)
        || chr(10) || orchard_framed(line.farm_id::text)
        || chr(10) || orchard_framed(line.lot_id::text)
        || chr(10) || orchard_framed(line.position::text)
        || chr(10) || orchard_framed(line.key::text)
        || chr(10) || orchard_framed(line.id::text)
        || chr(10) || orchard_framed(line.kind)
        || chr(10) || orchard_framed(line.quantity)
        || chr(10) || orchard_framed(line.change_base::numeric(45, 20)::text)
        || chr(10) || orchard_framed(line.balance_after_base::numeric(45, 20)::text)
        || chr(10) || orchard_framed(line.reason)
        || chr(10) || orchard_framed(line.reference)
        || chr(10) || orchard_framed(orchard_moment(line.at))
        || chr(10) || orchard_framed(line.reverses_id::text)
        || chr(10) || orchard_framed(line.other_lot_id::text)
        || chr(10) || orchard_framed(line.work_order::text)
        || chr(10) || orchard_framed(line.load::text)
        || chr(10) || orchard_framed(line.effect)
        || chr(10) || orchard_framed(orchard_moment(line.created_at))
        || chr(10) || orchard_framed(line.created_by_kind)
        || chr(10) || orchard_framed(line.created_by_id::text)
        || chr(10) || orchard_framed(line.created_by_name)
    , 'UTF8')), 'hex');
END $$;

CREATE FUNCTION orchard_movement_follows() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    head text := '';
    held numeric := 0;
BEGIN
    IF NEW.position > 1 THEN
        SELECT hash, balance_after_base INTO head, held FROM inventory_movement
            WHERE lot_id = NEW.lot_id AND position = NEW.position - 1;
        IF NOT FOUND THEN
            RAISE EXCEPTION 'line % of lot % has no line before it', NEW.position, NEW.lot_id
                {REFUSED};
        END IF;
    END IF;
    IF NEW.balance_after_base <> held + NEW.change_base
            OR NEW.hash <> orchard_movement_hash(head, NEW) THEN
        RAISE EXCEPTION 'line % of lot % does not follow the line before it', NEW.position, NEW.lot_id
            {REFUSED};
    END IF;
    RETURN NEW;
END $$;
"""
FUNCTIONS_UNDONE = """
DROP FUNCTION orchard_movement_follows();
DROP FUNCTION orchard_movement_hash(text, inventory_movement);
DROP FUNCTION orchard_moment(timestamptz);
DROP FUNCTION orchard_framed(text);
"""


LINE = (
    "line.farm_id::text",
    "line.lot_id::text",
    "line.position::text",
    "line.key::text",
    "line.id::text",
    "line.kind",
    "line.quantity",
    "line.change_base::numeric(45, 20)::text",
    "line.balance_after_base::numeric(45, 20)::text",
    "line.reason",
    "line.reference",
    "to_char(line.at AT TIME ZONE 'UTC', '{TIME}') || '+00:00'",
    "line.reverses_id::text",
    "line.other_lot_id::text",
    "line.work_order::text",
    "line.load::text",
    "line.effect",
    "to_char(line.created_at AT TIME ZONE 'UTC', '{TIME}') || '+00:00'",
    "line.created_by_kind",
    "line.created_by_id::text",
    "line.created_by_name",
)
"""`chain.COLUMNS` as text."""


def _framed(said: str) -> str:
    return f"coalesce(octet_length({said}) || ':' || ({said}), '-')"


def hash_of(line: str, *, before: str) -> str:
    """Return the same hash as one expression for a statement over many lines.

    :param line: the name by which the statement knows the line
    :param before: what gives the hash of the line before it
    """
    texts = (text.replace("{TIME}", TIME).replace("line.", f"{line}.") for text in LINE)
    said = ", ".join((_framed(before), *map(_framed_by_its_kind, texts)))
    return f"'1:' || encode(sha256(convert_to(concat_ws(chr(10), '1:1', {said}), 'UTF8')), 'hex')"


def _framed_by_its_kind(said: str) -> str:
    """Return a text with its length, which an id and a moment have without being asked twice."""
    if said.startswith("to_char"):
        return f"coalesce('32:' || {said}, '-')"
    is_id = said.endswith("::text") and "numeric" not in said and ".position" not in said
    return f"coalesce('36:' || {said}, '-')" if is_id else _framed(said)


def _hash() -> str:
    """Return the same function as one expression, without a call for each field."""
    said = ", ".join(_framed(text.replace("{TIME}", TIME)) for text in ("before", *LINE))
    return f"""
CREATE OR REPLACE FUNCTION orchard_movement_hash(before text, line inventory_movement) RETURNS text
LANGUAGE plpgsql STABLE AS $$
BEGIN
    RETURN '1:' || encode(sha256(convert_to(concat_ws(chr(10), '1:1', {said}), 'UTF8')), 'hex');
END $$;
"""


def one_expression() -> migrations.RunSQL:
    """Return the step that makes the hash one expression; the database is kept in UTF-8."""
    return migrations.RunSQL(_hash(), migrations.RunSQL.noop)


def functions() -> migrations.RunSQL:
    """Return the step that makes the functions."""
    return migrations.RunSQL(FUNCTIONS, FUNCTIONS_UNDONE)


def trigger() -> migrations.RunSQL:
    """Return the step that lets the ledger refuse a line which does not follow."""
    return migrations.RunSQL(
        "CREATE TRIGGER inventory_movement_follows BEFORE INSERT ON inventory_movement "
        "FOR EACH ROW EXECUTE FUNCTION orchard_movement_follows()",
        "DROP TRIGGER inventory_movement_follows ON inventory_movement",
    )
