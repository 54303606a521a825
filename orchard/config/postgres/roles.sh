#!/bin/sh
# Run once by PostgreSQL's image, when it makes its data folder: the two roles that roles.py tells of, and the
# database. Here they have passwords of their own, since the owner's is for the preparation alone.
set -eu
psql -v ON_ERROR_STOP=1 -v owner="$(cat "$OWNER_PASSWORD_FILE")" -v web="$(cat "$WEB_PASSWORD_FILE")" \
  --username "$POSTGRES_USER" --dbname postgres <<'SQL'
CREATE ROLE orchard_owner LOGIN PASSWORD :'owner';
CREATE ROLE orchard_web LOGIN NOSUPERUSER NOBYPASSRLS PASSWORD :'web';
GRANT orchard_web TO orchard_owner;
CREATE DATABASE orchard OWNER orchard_owner;
SQL
