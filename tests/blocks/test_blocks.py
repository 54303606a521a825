import datetime as dt

import pytest
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from orchard.blocks import outlines
from tests.callers import Caller, codes
from tests.factories import BlockFactory, FarmFactory

SQUARE = [[-121.0, 38.0], [-120.999, 38.0], [-120.999, 38.001], [-121.0, 38.001], [-121.0, 38.0]]


@pytest.fixture
def farm():
    return FarmFactory()


@pytest.fixture
def manager(farm):
    return Caller(farm, "manager")


def feet(value):
    return {"value": str(value), "unit": "ft"}


@pytest.mark.django_db
def test_area_is_worked_out_from_trees_and_spacing(manager):
    body = {
        "name": "Lower Peach",
        "crop": "peach",
        "trees": 140,
        "row_spacing": feet(18),
        "tree_spacing": feet(18),
    }

    made = manager.post("blocks", body)

    assert made.status_code == 201, made.json()
    assert made.json()["area"] == {"value": "1.0413", "unit": "acre"}
    assert made.json()["computed"] == ["area"]
    assert made["Location"] == made.json()["url"]


@pytest.mark.django_db
def test_trees_are_worked_out_from_area_and_spacing(manager):
    body = {
        "name": "A",
        "crop": "peach",
        "area": {"value": "1", "unit": "acre"},
        "row_spacing": feet(18),
        "tree_spacing": feet(18),
    }

    made = manager.post("blocks", body).json()

    assert (made["trees"], made["computed"]) == (134, ["trees"])


@pytest.mark.django_db
def test_what_was_worked_out_is_worked_out_again_after_a_change(manager):
    body = {"name": "A", "crop": "peach", "trees": 140, "row_spacing": feet(18), "tree_spacing": feet(18)}
    path = f"blocks/{manager.post('blocks', body).json()['id']}"

    changed = manager.patch(path, {"trees": 70}).json()
    given = manager.patch(path, {"area": {"value": "2", "unit": "acre"}}).json()

    assert changed["area"] == {"value": "0.5207", "unit": "acre"}
    assert (given["area"], given["computed"]) == ({"value": "2", "unit": "acre"}, [])


@pytest.mark.django_db
def test_an_outline_wound_the_wrong_way_is_taken_and_given_back_right(manager):
    clockwise = {"type": "Polygon", "coordinates": [SQUARE[::-1]]}

    made = manager.post("blocks", {"name": "A", "crop": "peach", "outline": clockwise}).json()

    assert made["outline"]["coordinates"][0] in (SQUARE, [SQUARE[0], *SQUARE[1:]])
    assert made["outline_area"]["unit"] == made["area"]["unit"] == "m2"
    assert 9500 < float(made["outline_area"]["value"]) < 10000
    assert manager.get("blocks.geojson").json()["features"][0]["geometry"]["type"] == "Polygon"


@pytest.mark.django_db
@pytest.mark.parametrize(
    "outline",
    [
        {"type": "Point", "coordinates": [0, 0]},
        {"type": "Polygon", "coordinates": []},
        {"type": "Polygon", "coordinates": [SQUARE[:3]]},
        {"type": "Polygon", "coordinates": [SQUARE[:-1]]},
        {"type": "Polygon", "coordinates": [[[0, 0], [0, 99], [1, 1], [0, 0]]]},
        {"type": "Polygon", "coordinates": [[[0, 0], [1, 1], [1, 0], [0, 1], [0, 0]]]},
        {"type": "Polygon", "coordinates": [[["0", 0], [1, 1], [1, 0], [0, 0]]]},
    ],
)
def test_an_outline_that_is_no_polygon_is_refused(manager, outline):
    response = manager.post("blocks", {"name": "A", "crop": "peach", "outline": outline})

    assert (response.status_code, codes(response)) == (422, ["outline_invalid"])


@given(st.floats(-60, 60), st.floats(-170, 170), st.floats(0.0005, 0.01))
def test_the_area_of_an_outline_does_not_depend_on_its_winding(south, west, side):
    ring = [
        [west, south],
        [west + side, south],
        [west + side, south + side],
        [west, south + side],
        [west, south],
    ]

    one = outlines.normalised({"type": "Polygon", "coordinates": [ring]})
    other = outlines.normalised({"type": "Polygon", "coordinates": [ring[::-1]]})

    assert outlines.area(one) == outlines.area(other)


@pytest.mark.django_db
def test_the_latest_observation_counts_and_then_the_latest_entered(manager, farm):
    path = f"blocks/{BlockFactory(farm=farm).id}"
    for bbch, day in ((51, "2026-01-10"), (53, "2026-01-20"), (1, "2026-01-02"), (54, "2026-01-20")):
        assert manager.post(f"{path}/stages", {"bbch": bbch, "observed_on": day}).status_code == 201

    assert manager.get(path).json()["stage"]["bbch"] == 54


@pytest.mark.django_db
def test_an_observation_is_never_changed(manager, farm):
    block = BlockFactory(farm=farm)
    made = manager.post(f"blocks/{block.id}/stages", {"bbch": 51, "observed_on": "2026-01-10"}).json()

    assert manager.call("PATCH", made["url"], {"bbch": 60}, if_match=made["etag"]).status_code == 405
    assert manager.call("DELETE", made["url"], if_match=made["etag"]).status_code == 405


@pytest.mark.django_db
def test_a_stage_of_tomorrow_is_not_an_observation(manager, farm):
    later = (timezone.now() + dt.timedelta(days=2)).date().isoformat()

    response = manager.post(
        f"blocks/{BlockFactory(farm=farm).id}/stages", {"bbch": 120, "observed_on": later}
    )

    assert codes(response) == ["out_of_range", "time_in_future"]


@pytest.mark.django_db
def test_nothing_found_is_a_result(manager, farm):
    body = {
        "target": "leaf curl",
        "method": "visual",
        "sample_size": 40,
        "count": 0,
        "observed_at": "2026-04-01T09:00:00-07:00",
    }

    made = manager.post(f"blocks/{BlockFactory(farm=farm).id}/scouting", body)

    assert (made.status_code, made.json()["per_sample"]) == (201, "0")


@pytest.mark.django_db
def test_another_farms_block_is_not_there(farm):
    block = BlockFactory(farm=farm)
    stranger = Caller(FarmFactory(), "owner")

    assert stranger.get(f"/api/v1/farms/{farm.id}/blocks/{block.id}").status_code == 404
    assert stranger.get(f"blocks/{block.id}").status_code == 404
    assert stranger.get("blocks").json()["items"] == []


@pytest.mark.django_db
def test_a_block_in_use_is_put_away_not_deleted(manager, farm):
    path = f"blocks/{BlockFactory(farm=farm).id}"
    manager.post(f"{path}/stages", {"bbch": 51, "observed_on": "2026-01-10"})

    refused = manager.delete(path)

    assert (refused.status_code, codes(refused)) == (409, ["in_use"])
    assert manager.patch(path, {"archived": True}).status_code == 200
    assert manager.get("blocks").json()["items"] == []
    assert len(manager.get("blocks?archived=true").json()["items"]) == 1


@pytest.mark.django_db
def test_a_block_that_nothing_refers_to_is_deleted(manager, farm):
    path = f"blocks/{BlockFactory(farm=farm).id}"

    assert manager.delete(path).status_code == 204
    assert manager.get(path).status_code == 404


@pytest.mark.django_db
def test_a_later_post_of_an_hour_replaces_it(manager):
    def hour(wind):
        return {"at": "2026-01-10T08:00:00-08:00", "kind": "observed", "wind": {"value": wind, "unit": "mph"}}

    assert manager.post("weather/hours", {"items": [hour("5")]}).json() == {"stored": 1}
    assert manager.post("weather/hours", {"items": [hour("9"), hour("7")]}).json() == {"stored": 1}

    items = manager.get("weather/hours?from=2026-01-10T00:00:00-08:00&to=2026-01-11T00:00:00-08:00").json()[
        "items"
    ]
    assert [row["wind"]["value"] for row in items] == ["7"]
    assert manager.get("weather/hours?to=2026-01-10T00:00:00-08:00").json()["items"] == []


@pytest.mark.django_db
def test_weather_days_are_stored_and_read(manager):
    day = {
        "on": "2026-01-10",
        "kind": "observed",
        "minimum": {"value": "-1", "unit": "degC"},
        "rain": {"value": "0", "unit": "mm"},
    }

    assert manager.post("weather/days", {"items": [day]}).json() == {"stored": 1}
    assert manager.get("weather/days").json()["items"][0]["minimum"] == {"value": "-1", "unit": "degC"}


@pytest.mark.django_db
def test_the_list_of_blocks_costs_the_same_for_one_and_for_many(manager, farm, django_assert_max_num_queries):
    BlockFactory.create_batch(30, farm=farm)

    with django_assert_max_num_queries(9):
        assert len(manager.get("blocks").json()["items"]) == 30


@pytest.mark.django_db
def test_what_has_not_changed_is_not_sent_again(manager, farm):
    path = f"blocks/{BlockFactory(farm=farm).id}"
    etag = manager.get(path)["ETag"]

    assert manager.get(path, if_none_match=etag).status_code == 304
    manager.patch(path, {"name": "New name"})
    assert manager.get(path, if_none_match=etag).status_code == 200
