"""The two roles of the database: whoever answers requests does not own the tables."""

from typing import LiteralString

import psycopg
from psycopg import sql

DATABASE = "orchard"
OWNER_ROLE = "orchard_owner"  # makes and changes tables; no request runs as it
WEB_ROLE = "orchard_web"  # reads and writes rows; row-level security and refused updates hold for it
_AS_WEB = sql.SQL("GRANT {} TO {}").format(sql.Identifier(WEB_ROLE), sql.Identifier(OWNER_ROLE))


def make_roles(*, port: int, password: str) -> None:
    """Make the two roles and the database where they are missing: one owns the tables, one only uses them."""
    rights: dict[str, LiteralString] = {
        OWNER_ROLE: "LOGIN CREATEDB",
        WEB_ROLE: "LOGIN NOSUPERUSER NOBYPASSRLS",
    }
    with psycopg.connect(
        host="127.0.0.1",
        port=port,
        user="postgres",
        password=password,
        dbname="postgres",
        connect_timeout=5,
        autocommit=True,
    ) as connection:
        present = {name for (name,) in connection.execute("SELECT rolname FROM pg_roles")}
        for role in rights.keys() - present:
            statement = sql.SQL("CREATE ROLE {} " + rights[role] + " PASSWORD {}")
            connection.execute(statement.format(sql.Identifier(role), sql.Literal(password)))
        connection.execute(_AS_WEB)
        if not connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [DATABASE]).fetchone():
            statement = sql.SQL("CREATE DATABASE {} OWNER {}")
            connection.execute(statement.format(sql.Identifier(DATABASE), sql.Identifier(OWNER_ROLE)))
