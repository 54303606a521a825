"""A backup is put back on an empty database as it was: rows, guards, ledgers, and what readers rely on."""

import hashlib
import json
import subprocess
import sys
import zipfile
from pathlib import Path

import psycopg
import pytest
from django.db import connections
from django.db.migrations.loader import MigrationLoader

from orchard.config import backup, preparation
from orchard.farms import numbering, queries
from tests import database
from tests.callers import Caller
from tests.config.test_preparation import nowhere
from tests.factories import FarmFactory
from tests.inventory import store

CHECKOUT = Path(__file__).resolve().parents[2]
__all__ = ["nowhere"]

pytestmark = [
    pytest.mark.django_db(transaction=True, databases=["default", "owner"]),
    pytest.mark.xdist_group("servers"),
]


def run(environment: dict[str, str], *command: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [sys.executable, "manage.py", *command], cwd=CHECKOUT, env=environment, text=True, capture_output=True
    )


def rows_of(url: str) -> dict[str, str]:
    """Return of each table how many rows it has and a hash over all of them."""
    with psycopg.connect(url) as database:
        names = database.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'").fetchall()
        return {
            name: str(
                database.execute(
                    f"SELECT count(*), md5(coalesce(string_agg(row::text, '|' ORDER BY row::text), ''))"
                    f' FROM "{name}" AS row'
                ).fetchone()
            )
            for (name,) in sorted(names)
            if name != "django_migrations"
        }


SHAPE = """
    SELECT conrelid::regclass::text, conname, pg_get_constraintdef(oid) FROM pg_constraint
    UNION ALL SELECT tablename::text, indexname, indexdef FROM pg_indexes WHERE schemaname = 'public'
    UNION ALL SELECT tgrelid::regclass::text, tgname, pg_get_triggerdef(oid) || tgenabled::text
        FROM pg_trigger WHERE NOT tgisinternal
    UNION ALL SELECT tablename::text, policyname, qual FROM pg_policies
    ORDER BY 1, 2, 3
"""


def shape_of(url: str) -> list[tuple[str, str, str]]:
    """Return every key, reference, check, index, trigger and policy, as the database tells it."""
    with psycopg.connect(url) as database:
        return database.execute(SHAPE).fetchall()


@pytest.fixture
def empty(nowhere: dict[str, str]) -> dict[str, str]:
    """The same, with a prepared database in which nothing stands."""
    name = nowhere["DATABASE_OWNER_URL"].rpartition("/")[2]
    preparation.create_database(connections["owner"], name=name, template=database.template())
    return nowhere


@pytest.fixture
def season():
    """A farm with stock that moved, and everything that its API left behind."""
    farm = FarmFactory()
    copper = store.lot(store.copper(farm), holds="20")
    owner = Caller(farm, "owner")
    made = {"name": "Lower terrace", "crop": "peach", "trees": 40, "area": {"value": "1", "unit": "acre"}}
    assert owner.post("blocks", made, idempotency_key="once").status_code == 201
    used = {"kind": "adjust", "lot": str(copper.id), "quantity": {"value": "-0.5", "unit": "lb"}}
    assert owner.post("stock-movements", {**used, "reason": "caked"}).status_code == 201
    return owner


def test_a_backup_is_put_back_row_by_row_with_guards_and_ledgers(
    season, database_environment, empty, tmp_path
):
    file = tmp_path / "orchard.backup"

    wrote = run(database_environment, "backup", "--to", str(file))
    put_back = run(empty, "restore", "--from", str(file))

    assert (wrote.returncode, put_back.returncode) == (0, 0), wrote.stderr + put_back.stderr
    assert "every ledger holds" in put_back.stdout
    assert file.stat().st_mode & 0o077 == 0
    before = rows_of(database_environment["DATABASE_OWNER_URL"])
    assert rows_of(empty["DATABASE_OWNER_URL"]) == before
    assert shape_of(empty["DATABASE_OWNER_URL"]) == shape_of(database_environment["DATABASE_OWNER_URL"])
    assert before["inventory_movement"].startswith("(2,")
    assert run(empty, "verify_ledger").stdout.startswith("1 lots, 2 movements")
    with psycopg.connect(empty["DATABASE_OWNER_URL"]) as restored:
        with pytest.raises(psycopg.errors.RestrictViolation):
            restored.execute("DELETE FROM inventory_movement")
        restored.rollback()
        fenced = restored.execute("SELECT count(*) FROM pg_class WHERE relrowsecurity").fetchone()
        off = restored.execute("SELECT count(*) FROM pg_trigger WHERE tgenabled <> 'O'").fetchone()
        assert fenced[0] > 30
        assert off == (0,)


def test_what_changes_after_a_restore_comes_after_all_that_readers_have_seen(
    season, database_environment, empty, tmp_path
):
    file = tmp_path / "orchard.backup"
    far = 10**15  # as on a server that is much older than the one it is restored on
    with psycopg.connect(database_environment["DATABASE_OWNER_URL"]) as old:
        old.execute(numbering.OFFSET.format(far))
    season.post("blocks", {"name": "Mill field", "crop": "apple", "trees": 9})
    database.until_all_is_final()
    seen = [line[:2] for line in queries.changes(farm=season.farm, after=None, limit=99)]
    run(database_environment, "backup", "--to", str(file))
    assert run(empty, "restore", "--from", str(file)).returncode == 0

    with psycopg.connect(empty["DATABASE_OWNER_URL"]) as restored:
        restored.execute(
            "INSERT INTO farms_change (farm_id, at, resource, resource_id, change, etag, path)"
            " SELECT farm_id, now(), resource, resource_id, 'updated', etag, path FROM farms_change LIMIT 1"
        )
        restored.commit()
        database.until_all_is_final()
        oldest = "pg_snapshot_xmin(pg_current_snapshot())::text::bigint + orchard_transaction_offset()"
        feed = restored.execute(
            "SELECT transaction_number, seq FROM farms_change"
            f" WHERE transaction_number < {oldest} ORDER BY 1, 2"
        ).fetchall()

    assert feed[:-1] == seen
    assert feed[-1] > seen[-1] > (far, 0)


def test_nothing_is_put_into_a_database_that_holds_rows(season, database_environment, tmp_path):
    file = tmp_path / "orchard.backup"
    run(database_environment, "backup", "--to", str(file))
    before = rows_of(database_environment["DATABASE_OWNER_URL"])

    refused = run(database_environment, "restore", "--from", str(file))

    assert refused.returncode == 1
    assert "The database is not empty" in refused.stderr
    assert rows_of(database_environment["DATABASE_OWNER_URL"]) == before


def changed(file: Path, into: Path, name: str, change) -> Path:
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(into, "w") as new:
        for one in old.namelist():
            content = old.read(one)
            if one == name:
                content = change(content)
            if content is not None:
                new.writestr(one, content)
    return into


def later_release(manifest: bytes) -> bytes:
    told = json.loads(manifest)
    told["migrations"].append(["inventory", "9999_lots_have_colours"])
    return json.dumps(told).encode()


def test_a_backup_whose_rows_were_changed_with_their_checksums_does_not_pass_the_proof(
    season, database_environment, empty, tmp_path
):
    file, touched = tmp_path / "orchard.backup", tmp_path / "touched"
    run(database_environment, "backup", "--to", str(file))
    with zipfile.ZipFile(file) as archive:
        lines = archive.read(backup.member("inventory_movement")).replace(b"caked", b"sold!")

    def checked_again(manifest: bytes) -> bytes:
        told = json.loads(manifest)
        [table] = [one for one in told["tables"] if one["name"] == "inventory_movement"]
        table["sha256"] = hashlib.sha256(lines).hexdigest()
        return json.dumps(told).encode()

    changed(file, touched, backup.member("inventory_movement"), lambda _: lines)
    put_back = run(
        empty, "restore", "--from", str(changed(touched, tmp_path / "again", "manifest.json", checked_again))
    )

    assert put_back.returncode == 1
    assert "the ledger does not hold" in put_back.stderr
    assert "at line 2" in put_back.stderr


TOUCHED = [
    ("tables/inventory_movement.copy", lambda rows: rows.replace(b"caked", b"sold!"), "not those"),
    ("tables/inventory_movement.copy", lambda rows: None, "missing"),
    ("tables/inventory_lot.copy", lambda rows: b"rubbish\n", "refused the rows"),
    ("manifest.json", lambda manifest: b"[]", "no manifest"),
    ("manifest.json", later_release, "newer release"),
]


def test_a_backup_that_was_touched_is_refused_and_nothing_of_it_stays(
    season, database_environment, empty, tmp_path
):
    file = tmp_path / "orchard.backup"
    run(database_environment, "backup", "--to", str(file))

    for at, (name, change, says) in enumerate(TOUCHED):
        refused = run(empty, "restore", "--from", str(changed(file, tmp_path / f"touched{at}", name, change)))

        assert refused.returncode == 1
        assert says in refused.stderr
        assert len(refused.stderr.splitlines()) == 1
    assert rows_of(empty["DATABASE_OWNER_URL"])["farms_farm"].startswith("(0,")


def test_a_file_that_is_cut_off_or_none_of_ours_is_refused(season, database_environment, empty, tmp_path):
    file = tmp_path / "orchard.backup"
    run(database_environment, "backup", "--to", str(file))
    file.write_bytes(file.read_bytes()[: file.stat().st_size // 2])

    assert "damaged" in run(empty, "restore", "--from", str(file)).stderr
    assert "No such file" in run(empty, "restore", "--from", str(tmp_path / "none")).stderr
    again = run(database_environment, "backup", "--to", str(file))
    assert "is there already" in again.stderr


def test_a_backup_of_an_older_release_is_put_back_and_brought_up_to_date(
    season, database_environment, nowhere, tmp_path
):
    file, older = tmp_path / "orchard.backup", tmp_path / "older"
    made = MigrationLoader(None, ignore_no_migrations=True).disk_migrations
    later = {(app, name) for app, name in made if app == "farms" and name >= "0007"}
    then = {"farms_farm": "gate_code", "farms_auditentry": "transaction_number"}
    run(database_environment, "backup", "--to", str(file))
    with zipfile.ZipFile(file) as archive:
        columns = {one["name"]: one["columns"] for one in json.loads(archive.read("manifest.json"))["tables"]}
        rows = {}
        for name, column in then.items():
            place = columns[name].index(column)
            cells = [line.split(b"\t") for line in archive.read(backup.member(name)).splitlines()]
            rows[name] = b"".join(b"\t".join((*one[:place], *one[place + 1 :])) + b"\n" for one in cells)

    def before_them(manifest: bytes) -> bytes:
        told = json.loads(manifest)
        told["migrations"] = [one for one in told["migrations"] if tuple(one) not in later]
        told["tables"] = [one for one in told["tables"] if one["name"] != "farms_auditlink"]
        for table in told["tables"]:
            if (name := table["name"]) in then:
                table["columns"].remove(then[name])
                table["sha256"] = hashlib.sha256(rows[name]).hexdigest()
        return json.dumps(told).encode()

    at = file
    for name, content in rows.items():
        at = changed(at, tmp_path / name, backup.member(name), lambda _, content=content: content)
    put_back = run(nowhere, "restore", "--from", str(changed(at, older, "manifest.json", before_them)))

    assert put_back.returncode == 0, put_back.stderr
    assert rows_of(nowhere["DATABASE_OWNER_URL"])["inventory_movement"].startswith("(2,")
