"""The season behind us: sprays against their windows, copper, what came of it, cost, what to change."""

import csv
import io

import pytest

from orchard.inventory.models import Lot
from tests.callers import Caller, codes
from tests.factories import BlockFactory, FarmFactory, LabelVersionFactory, LotFactory, SprayerFactory, amount
from tests.tasks.lowbell import COPPER, ProductFactory

pytestmark = pytest.mark.django_db
ACRE = {"value": "1", "unit": "acre"}


class Winter:
    """A farm of one block of peach with a plan of two sprays, told over HTTP."""

    def __init__(self, units="us"):
        self.farm = FarmFactory(units=units)
        self.manager = Caller(self.farm, "manager")
        self.block = BlockFactory(farm=self.farm, name="Lower Peach", area=amount("1", "acre"))
        self.sprayer = SprayerFactory(farm=self.farm)
        self.copper = ProductFactory(farm=self.farm, name="Copper hydroxide 30 WG")
        LabelVersionFactory(farm=self.farm, product=self.copper, label=COPPER)
        self.lot = LotFactory(farm=self.farm, product=self.copper, number="C-1")
        self.receive("40")
        self.programme = self.made("programmes", self.plan())

    def made(self, path, body):
        answer = self.manager.post(path, body)
        assert answer.status_code == 201, answer.json()
        return answer.json()

    def receive(self, pounds):
        body = {"kind": "receive", "lot": str(self.lot.id), "quantity": {"value": pounds, "unit": "lb"}}
        self.made("stock-movements", {**body, "reason": "delivery"})

    def plan(self):
        products = [{"product": str(self.copper.id), "rate": {"value": "10", "unit": "lb/acre"}}]
        shared = {"kind": "spray", "crops": ["peach"], "targets": ["leaf curl"], "products": products}
        return {
            "name": "Winter 2026",
            "from": "2025-11-01",
            "until": "2026-06-30",
            "lines": [
                {**shared, "title": "Leaf-fall copper", "stage": {"from": 93, "to": 0}},
                {**shared, "title": "Bud-swell copper", "stage": {"from": 51, "to": 53}},
            ],
        }

    def look(self, bbch, on):
        self.made(f"blocks/{self.block.id}/stages", {"bbch": bbch, "observed_on": on})

    def spray(self, on, bbch, pounds="10"):
        quantity = {"value": pounds, "unit": "lb"}
        body = {
            "block": str(self.block.id),
            "sprayer": str(self.sprayer.id),
            "started_at": f"{on}T09:00:00-08:00",
            "finished_at": f"{on}T11:00:00-08:00",
            "spray": {"area": ACRE, "total": {"value": "200", "unit": "gal"}},
            "products": [
                {
                    "product": str(self.copper.id),
                    "amount": quantity,
                    "rate": {"value": "10", "unit": "lb/acre"},
                    "lots": [{"lot": str(self.lot.id), "amount": quantity}],
                }
            ],
            "stage": {"bbch": bbch},
            "targets": ["leaf curl"],
            "nothing_unusual": True,
        }
        return self.made("application-records", body)

    def count(self, found, of, on, untreated=False):
        body = {
            "target": "leaf curl",
            "method": "visual",
            "sample_size": of,
            "count": found,
            "observed_at": f"{on}T09:00:00-07:00",
            "untreated": untreated,
        }
        self.made(f"blocks/{self.block.id}/scouting", body)

    def review(self, who=None, query=None, **headers):
        query = f"programme={self.programme['id']}" if query is None else query
        answer = (who or self.manager).get(f"season-review?{query}", **headers)
        assert answer.status_code == 200, answer.json()
        return answer.json()


@pytest.fixture
def winter():
    return Winter()


def changes(block):
    return [one["code"] for one in block["what_to_change"]]


def test_a_good_season_says_keep_on_and_that_some_disease_is_normal(winter):
    winter.look(97, "2025-12-10")
    first = winter.spray("2025-12-12", 97, pounds="6")
    winter.look(51, "2026-02-10")
    winter.spray("2026-02-12", 51, pounds="6")
    winter.look(65, "2026-03-20")
    winter.count(6, 200, "2026-04-20")
    winter.count(80, 200, "2026-04-20", untreated=True)

    found = winter.review()
    [block] = found["blocks"]

    assert [line["state"] for line in block["lines"]] == ["done", "done"]
    assert block["lines"][0]["application_records"] == [first["id"]]
    assert [spray["in_window"] for spray in block["sprays"]] == [True, True]
    [result] = block["results"]
    assert (result["efficacy_method"], result["efficacy_percent"]) == ("abbott", "92.5")
    assert changes(block) == ["keep"]
    assert "Some disease after a good season is normal" in found["says"][0]


def test_a_line_whose_time_went_by_is_missed_and_names_the_observation(winter):
    winter.spray("2025-12-12", 97)
    winter.look(51, "2026-02-10")
    winter.look(57, "2026-03-01")

    [block] = winter.review()["blocks"]

    assert [line["state"] for line in block["lines"]] == ["done", "missed"]
    late = winter.manager.get(f"blocks/{winter.block.id}/stages").json()["items"][-1]
    assert block["lines"][1]["observation"] == late["id"]
    assert "missed_window" in changes(block)


@pytest.mark.parametrize(
    ("looks", "states"),
    [
        ([], ["unknown", "unknown"]),
        ([(91, "2025-11-05")], ["not_yet", "not_yet"]),
        ([(97, "2025-12-05")], ["open", "not_yet"]),
        ([(97, "2025-12-05"), (51, "2026-02-01")], ["missed", "open"]),
        ([(60, "2026-03-10")], ["missed", "missed"]),
    ],
)
def test_the_latest_look_says_where_a_line_stands(winter, looks, states):
    for bbch, on in looks:
        winter.look(bbch, on)

    [block] = winter.review()["blocks"]

    assert [line["state"] for line in block["lines"]] == states


def test_a_spray_outside_its_window_is_told(winter):
    winter.spray("2026-03-10", 57)

    [block] = winter.review()["blocks"]

    assert [spray["in_window"] for spray in block["sprays"]] == [False]
    assert block["lines"][0]["state"] == "done_outside"
    assert "outside_window" in changes(block)


def test_copper_is_added_up_as_the_metal_per_acre_and_told_where_it_comes_near_the_limit(winter):
    for on in ("2025-12-12", "2026-01-20", "2026-02-12"):
        winter.spray(on, 0, pounds="16")

    [block] = winter.review()["blocks"]

    [metal] = block["metal"]
    assert metal == {
        "of": "copper",
        "amount": {"value": "14.4", "unit": "lb"},
        "per_area": {"value": "14.4", "unit": "lb/acre"},
        "limit": {"value": "18", "unit": "lb/acre"},
    }
    assert "metal_near_limit" in changes(block)


def test_a_metric_farm_counts_copper_per_hectare():
    winter = Winter(units="metric")
    winter.spray("2025-12-12", 97)

    [metal] = winter.review()["blocks"][0]["metal"]

    assert metal["per_area"] == {"value": "3.3626", "unit": "kg/ha"}  # 3 lb of metal on an acre


def test_a_voided_record_counts_for_nothing(winter):
    record = winter.spray("2025-12-12", 97)
    winter.manager.act(f"application-records/{record['id']}", "void", {"reason": "another block"})

    [block] = winter.review()["blocks"]

    assert (block["sprays"], block["metal"], block["lines"][0]["state"]) == ([], [], "unknown")


def test_cost_comes_from_the_price_of_the_lots_and_names_what_is_not_in_it(winter):
    Lot.objects.filter(key=winter.lot.key).update(
        price={"amount": "90", "currency": "USD", "per": {"value": "20", "unit": "lb"}}
    )
    winter.spray("2025-12-12", 97, pounds="10")

    cost = winter.review()["blocks"][0]["cost"]

    assert cost == {
        "items": [{"currency": "USD", "amount": "45", "per_area": "45", "area_unit": "acre"}],
        "without_price": [],
    }
    Lot.objects.filter(key=winter.lot.key).update(price=None)
    assert winter.review()["blocks"][0]["cost"] == {"items": [], "without_price": ["lot C-1"]}


def test_a_crew_member_reads_the_review_without_prices(winter):
    winter.spray("2025-12-12", 97)

    [block] = winter.review(Caller(winter.farm, "crew_member"))["blocks"]

    assert block["cost"] is None and len(block["sprays"]) == 1


def test_a_target_that_nobody_counted_is_told(winter):
    winter.spray("2025-12-12", 97)

    assert "not_counted" in changes(winter.review()["blocks"][0])


def test_a_weak_result_is_told_with_its_interval(winter):
    winter.spray("2025-12-12", 97)
    winter.count(100, 200, "2026-04-20")
    winter.count(160, 200, "2026-04-20", untreated=True)

    [block] = winter.review()["blocks"]

    assert block["results"][0]["efficacy_percent"] == "37.5"
    assert "weak_result" in changes(block)


def sentences(found):
    kinds = [one for block in found["blocks"] for part in PARTS for one in block[part]]
    return {*found["says"], *(one["says"] for one in kinds)}


PARTS = ("lines", "results", "what_to_change")


@pytest.mark.parametrize(
    ("looks", "count"),
    [((97,), None), ((97, 51, 57), 80), ((60,), 5), ((), None), ((91,), None)],
)
def test_every_sentence_of_the_review_has_its_spanish(winter, looks, count):
    winter.spray("2025-12-12", 97, pounds="18")
    for place, bbch in enumerate(looks):
        winter.look(bbch, f"2026-0{place + 1}-10")
    if count is not None:
        winter.count(count, 200, "2026-04-20")
        winter.count(80, 200, "2026-04-20", untreated=True)

    english, spanish = winter.review(), winter.review(accept_language="es")

    assert len(sentences(english)) == len(sentences(spanish)) > 1
    assert not sentences(english) & sentences(spanish)


def test_the_review_is_csv_as_well_one_fact_a_line(winter):
    winter.spray("2025-12-12", 97)
    winter.count(6, 200, "2026-04-20")

    answer = winter.manager.get(f"season-review.csv?programme={winter.programme['id']}")

    rows = list(csv.DictReader(io.StringIO(answer.content.decode())))
    assert {row["what"] for row in rows} == {"line", "spray", "metal", "result", "change"}
    metal = next(row for row in rows if row["what"] == "metal")
    assert (metal["per_area_value"], metal["per_area_unit"]) == ("3", "lb/acre")


def test_days_choose_the_season_and_nonsense_is_refused(winter):
    winter.spray("2025-12-12", 97)

    inside = winter.review(query="from=2025-12-01&to=2025-12-31")
    outside = winter.review(query="from=2026-01-01&to=2026-01-31")

    assert len(inside["blocks"][0]["sprays"]) == 1 and outside["blocks"][0]["sprays"] == []
    ask = winter.manager.get
    assert codes(ask("season-review?from=2026-02-01&to=2026-01-01")) == ["out_of_range"]
    assert codes(ask("season-review?year=2026")) == ["unknown_parameter"]
    assert codes(ask(f"season-review?programme={winter.block.id}")) == ["not_found"]
    assert Caller(FarmFactory()).get(f"season-review?block={winter.block.id}").status_code == 400


def test_the_review_costs_the_same_queries_for_one_block_and_for_many(winter, django_assert_max_num_queries):
    for number in range(12):
        BlockFactory(farm=winter.farm, name=f"Block {number}")
    winter.spray("2025-12-12", 97)

    with django_assert_max_num_queries(14):
        winter.review()
