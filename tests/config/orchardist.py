"""A process that uses our own server: `python -m tests.config.orchardist BASE`.

It tells on one line of JSON where it found the server, and does what it reads: a line of SQL gets its first
column back as JSON, the end of the input ends it.
"""

import json
import sys
from pathlib import Path

import psycopg

from orchard.config import embedded


def main() -> None:
    base = Path(sys.argv[1])
    _join(base)
    print((base / "server.json").read_text(), flush=True)
    for statement in sys.stdin:
        with _connected(base) as connection:
            cursor = connection.execute(statement)
            found = [row[0] for row in cursor] if cursor.description else []
        print(json.dumps(found), flush=True)  # now that it is committed


def _connected(base: Path) -> "psycopg.Connection":
    """Return a connection, at the second try where the server was killed between its word and ours."""
    for is_last in (False, True):
        server = embedded.join(base=base, durable=True)
        try:
            return psycopg.connect(
                host=server.host,
                port=server.port,
                user="orchard_owner",
                password=server.password,
                dbname="orchard",
            )
        except psycopg.OperationalError:
            if is_last:
                raise
    raise AssertionError("unreachable")


def _join(base: Path) -> embedded.Server:
    try:
        return embedded.join(base=base, durable=True)
    except embedded.ServerUnavailable as reason:
        sys.exit(str(reason))


if __name__ == "__main__":
    main()
