"""How the transactions of the change feed are numbered, so that they go on after a restore.

PostgreSQL counts transactions a server, not a database: on another server the count begins lower, and what is
changed there would come before what its readers have seen. A function of the database holds what is added.
"""

from __future__ import annotations

OFFSET = """
CREATE OR REPLACE FUNCTION orchard_transaction_offset() RETURNS bigint LANGUAGE sql IMMUTABLE AS
$$ SELECT {}::bigint $$
"""
NONE = f"""
DO $do$ BEGIN
    IF to_regproc('orchard_transaction_offset') IS NULL THEN {OFFSET.format(0).strip()}; END IF;
END $do$
"""
UNDONE = "DROP FUNCTION orchard_transaction_offset()"
