"""Whose server it is and as whom we speak to it, from the environment."""

from pathlib import Path

from orchard.config import database

FOLDER = Path("somewhere")
PLANS = "-c plan_cache_mode=force_generic_plan"


def test_with_nothing_set_the_server_is_our_own() -> None:
    found = database.connections(environment={}, folder=FOLDER)

    assert {alias: address["USER"] for alias, address in found.items()} == {
        "default": "orchard_web",
        "owner": "orchard_owner",
    }
    assert all(address["EMBEDDED"] == {"base": FOLDER, "durable": True} for address in found.values())


def test_with_one_address_the_web_takes_the_lesser_role() -> None:
    found = database.connections(environment={"DATABASE_URL": "postgres://ana:x@db/farm"}, folder=FOLDER)

    assert found["default"]["OPTIONS"]["options"] == f"-c role=orchard_web {PLANS} -c orchard.farm=*"
    assert "options" not in found["owner"].get("OPTIONS", {})


def test_options_of_the_address_are_kept_beside_the_role() -> None:
    url = "postgres://ana:x@db/farm?options=-c%20statement_timeout%3D5s&sslmode=require"
    found = database.connections(environment={"DATABASE_URL": url}, folder=FOLDER)

    assert found["default"]["OPTIONS"] == {
        "options": f"-c statement_timeout=5s -c role=orchard_web {PLANS} -c orchard.farm=*",
        "sslmode": "require",
    }


def test_with_two_addresses_each_is_used_as_it_stands() -> None:
    environment = {"DATABASE_URL": "postgres://web@db/farm", "DATABASE_OWNER_URL": "postgres://ana@db/farm"}
    found = database.connections(environment=environment, folder=FOLDER)

    assert (found["default"]["USER"], found["owner"]["USER"]) == ("web", "ana")
    assert found["default"]["OPTIONS"]["options"] == f"{PLANS} -c orchard.farm=*"


def test_two_addresses_of_one_person_are_as_one() -> None:
    environment = {"DATABASE_URL": "postgres://ana@db/farm", "DATABASE_OWNER_URL": "postgres://ana@db/farm"}
    found = database.connections(environment=environment, folder=FOLDER)

    assert found["default"]["OPTIONS"]["options"] == f"-c role=orchard_web {PLANS} -c orchard.farm=*"
