"""What the database itself shows of a farm, whatever the code above it asks for."""

import psycopg
import pytest
from django.db import DataError, connection, connections

from orchard.blocks.models import Block
from orchard.farms import fence
from tests import database
from tests.callers import Caller
from tests.factories import BlockFactory, FarmFactory

pytestmark = pytest.mark.django_db


def blocks_in_sight() -> set[str]:
    return set(Block.objects.values_list("name", flat=True))


@pytest.fixture
def two_farms():
    here, there = FarmFactory(), FarmFactory()
    BlockFactory(farm=here, name="Lower terrace")
    BlockFactory(farm=there, name="Mill field")
    return here, there


def test_a_query_that_forgets_its_farm_sees_the_open_farm_alone(two_farms):
    here, there = two_farms

    with fence.opened(here.id):
        assert blocks_in_sight() == {"Lower terrace"}
    with fence.opened(there.id):
        assert blocks_in_sight() == {"Mill field"}


def test_a_web_process_sees_no_row_of_any_farm_before_a_request_opens_one(two_farms):
    tables = fence.fenced_tables()

    counts = database.with_no_farm_open(lambda: {table: _rows(table) for table in tables})()

    assert len(tables) > 30
    assert set(counts.values()) == {0}
    assert _rows(Block._meta.db_table) == 2


def test_every_table_with_a_farm_has_its_fence_but_those_that_find_the_farm():
    with connection.cursor() as cursor:
        cursor.execute("SELECT table_name FROM information_schema.columns WHERE column_name = 'farm_id'")
        of_a_farm = {table for (table,) in cursor.fetchall()}
        cursor.execute("SELECT relname FROM pg_class WHERE relrowsecurity")
        fenced = {table for (table,) in cursor.fetchall()}

    assert of_a_farm - fenced == {"farms_membership", "farms_token", "farms_calendarfeed"}


def test_a_row_cannot_be_written_into_a_farm_that_is_not_open(two_farms):
    here, there = two_farms

    with pytest.raises(Exception, match="row-level security"), fence.opened(here.id):
        BlockFactory(farm=there)


def test_rows_of_another_farm_can_be_neither_changed_nor_deleted(two_farms):
    here, _there = two_farms

    with fence.opened(here.id):
        assert Block.objects.update(name="Taken") == 1
    assert blocks_in_sight() == {"Taken", "Mill field"}


def test_the_next_transaction_of_a_pooled_connection_takes_nothing_along(two_farms):
    here, _ = two_farms
    address = connection.get_connection_params() | {"options": ""}

    with psycopg.connect(**_plain(address), autocommit=True) as pooled:
        with pooled.transaction():
            pooled.execute("SELECT set_config(%s, %s, true)", [fence.SETTING, str(here.id)])
        after = pooled.execute(f"SELECT coalesce({fence.OPEN}, ''), count(*) FROM blocks_block").fetchone()

    assert after == ("", 0)


def test_a_farm_made_over_the_api_is_open_to_its_own_first_rows(client):
    owner = Caller(FarmFactory(), "owner")

    assert owner.post("blocks", {"name": "Terrace", "crop": "peach", "trees": 12}).status_code == 201
    assert [row["name"] for row in owner.get("blocks").json()["items"]] == ["Terrace"]


@pytest.mark.django_db(transaction=True)
def test_a_connection_that_was_never_told_a_farm_sees_no_row(two_farms):
    address = connection.get_connection_params() | {"options": ""}

    with psycopg.connect(**_plain(address)) as fresh:
        assert fresh.execute(f"SELECT {fence.OPEN}, count(*) FROM blocks_block").fetchone() == (None, 0)


@pytest.mark.parametrize("strange", ["a farm", "%", "**", "*,*"])
def test_what_is_neither_a_farm_nor_every_farm_is_an_error_and_shows_nothing(two_farms, strange):
    with pytest.raises(DataError), fence.opened(strange):
        blocks_in_sight()


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_an_earlier_fence_gives_way_to_the_one_of_today():
    owner = connections["owner"]
    with owner.cursor() as cursor:
        cursor.execute(f"DROP POLICY {fence.POLICY} ON blocks_block")
        cursor.execute("CREATE POLICY rows_of_the_farm_that_is_open ON blocks_block USING (true)")

    fence.fence(owner)

    with owner.cursor() as cursor:
        cursor.execute("SELECT policyname FROM pg_policies WHERE tablename = 'blocks_block'")
        assert cursor.fetchall() == [(fence.POLICY,)]
        cursor.execute("SELECT count(DISTINCT qual) FROM pg_policies")
        assert cursor.fetchone() == (1,)


def test_each_table_of_a_farm_has_one_policy_and_it_is_the_same_for_all_that_is_done():
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT tablename, policyname, permissive, cmd, roles::text, qual, with_check FROM pg_policies"
        )
        standing = cursor.fetchall()

    assert sorted(table for table, *_ in standing) == sorted(fence.fenced_tables())
    assert {(name, *kind) for _, name, *kind, _, _ in standing} == {
        (fence.POLICY, "PERMISSIVE", "ALL", "{public}")
    }
    assert len({(qual, check) for *_, qual, check in standing}) == 1


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
@pytest.mark.parametrize(
    ("taken_away", "seen"),
    [
        ("DROP POLICY rows_of_the_open_farm ON blocks_block", set()),
        ("ALTER TABLE blocks_block DISABLE ROW LEVEL SECURITY", {"Lower terrace", "Mill field"}),
    ],
)
def test_a_fence_that_somebody_took_away_by_hand_stands_again_after_an_upgrade(two_farms, taken_away, seen):
    here, _ = two_farms
    with connections["owner"].cursor() as cursor:
        cursor.execute(taken_away)
    with fence.opened(here.id):
        assert blocks_in_sight() == seen

    fence.fence(connections["owner"])

    with fence.opened(here.id):
        assert blocks_in_sight() == {"Lower terrace"}


def _rows(table: str) -> int:
    with connection.cursor() as cursor:
        cursor.execute(f'SELECT count(*) FROM "{table}"')
        return int(cursor.fetchone()[0])


def _plain(address):
    return {name: address[name] for name in ("host", "port", "user", "password", "dbname", "options")}
