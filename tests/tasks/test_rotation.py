"""How often each mode of action was used on a block, and when another group is due."""

import pytest

from tests.callers import Caller, codes
from tests.factories import FarmFactory, LabelVersionFactory, LotFactory
from tests.tasks.lowbell import ProductFactory
from tests.tasks.test_season_review import Winter

pytestmark = pytest.mark.django_db


def fungicide(name, *, group, most=None, ingredient="azoxystrobin"):
    """Return a label on peach with its own mode of action."""
    use = {
        "crops": ["peach"],
        "rate": {"maximum": {"value": "20", "unit": "lb/acre"}},
        "re_entry": {"value": "12", "unit": "h"},
    }
    return {
        "name": name,
        "active_ingredients": [{"name": ingredient, "content": {"value": "50", "unit": "percent_ww"}}],
        "formulation": "WG",
        "mode_of_action": [{"scheme": "FRAC", "code": group}] if group else [],
        "uses": [{**use, "maximum_applications": most} if most else use],
    }


class Summer(Winter):
    """A farm that sprays one product after the other on the same block."""

    def of(self, label):
        """Let the next sprays be of this product."""
        self.copper = ProductFactory(farm=self.farm, name=label["name"])
        LabelVersionFactory(farm=self.farm, product=self.copper, label=label)
        self.lot = LotFactory(farm=self.farm, product=self.copper, number=label["name"])
        self.receive("400")
        return self

    def rotation(self, query="from=2026-01-01&to=2026-12-31", who=None, **headers):
        answer = (who or self.manager).get(f"rotation?{query}", **headers)
        assert answer.status_code == 200, answer.json()
        return answer.json()["items"]


@pytest.fixture
def summer():
    return Summer()


def test_the_days_of_each_group_are_counted_and_the_labels_limit_is_told_when_it_is_reached(summer):
    summer.of(fungicide("Azoxystrobin 50 WG", group="11", most=2))
    summer.spray("2026-04-01", 60)
    [before] = summer.rotation()
    summer.spray("2026-04-15", 65)

    [block] = summer.rotation()

    assert (block["block_name"], block["unknown"]) == ("Lower Peach", [])
    [group] = block["groups"]
    assert (group["scheme"], group["code"], group["applications"]) == ("FRAC", "11", 2)
    assert (group["in_a_row"], group["last_on"]) == (2, "2026-04-15")
    assert group["products"] == [{"name": "Azoxystrobin 50 WG", "applications": 2}]
    [label] = [one for one in group["limits"] if one["basis"] == "label"]
    assert (label["used"], label["most"], label["state"]) == (2, 2, "reached")
    assert "all that its label allows: use another group" in group["says"][0]
    [label] = [one for one in before["groups"][0]["limits"] if one["basis"] == "label"]
    assert label["state"] == "open"


def test_published_advice_speaks_beside_the_label_and_another_group_ends_the_row(summer):
    summer.of(fungicide("Azoxystrobin 50 WG", group="11"))
    summer.spray("2026-04-01", 60)
    summer.spray("2026-04-15", 65)
    [two_in_a_row] = summer.rotation()
    summer.of(fungicide("Captan 80 WG", group="M04", ingredient="captan")).spray("2026-04-29", 69)

    [block] = summer.rotation()

    rules = {
        one["whose"]: (one["counts"], one["used"], one["most"], one["state"])
        for one in two_in_a_row["groups"][0]["limits"]
    }
    assert rules["resistance.high-risk-in-a-row"] == ("in_a_row", 2, 1, "passed")
    by_code = {one["code"]: one for one in block["groups"]}
    assert (by_code["11"]["applications"], by_code["11"]["in_a_row"]) == (2, 0)
    assert by_code["M04"]["in_a_row"] == 1


def test_two_tanks_of_one_day_are_one_application_and_a_void_counts_no_more(summer):
    summer.of(fungicide("Azoxystrobin 50 WG", group="11"))
    first = summer.spray("2026-04-01", 60)
    summer.spray("2026-04-01", 60)
    assert summer.rotation()[0]["groups"][0]["applications"] == 1

    summer.spray("2026-04-20", 65)
    summer.manager.act(f"application-records/{first['id']}", "void", {"reason": "entered twice"})

    assert summer.rotation()[0]["groups"][0]["applications"] == 2


def test_a_product_of_an_unknown_group_is_named_and_counted_nowhere(summer):
    summer.of(fungicide("Field blend 7 WG", group=None, ingredient="unheard-of substance"))
    summer.spray("2026-04-01", 60)

    [block] = summer.rotation()

    assert (block["groups"], block["unknown"]) == ([], ["Field blend 7 WG"])


def test_a_season_is_from_a_day_to_a_day_and_of_one_farm(summer):
    summer.of(fungicide("Azoxystrobin 50 WG", group="11")).spray("2026-04-01", 60)

    assert summer.rotation("from=2026-04-02&to=2026-12-31") == []
    assert len(summer.rotation("from=2026-04-01&to=2026-04-01")) == 1
    assert summer.rotation(who=Caller(FarmFactory(), "owner")) == []
    backwards = summer.manager.get("rotation?from=2026-05-01&to=2026-04-01")
    assert (backwards.status_code, codes(backwards)) == (422, ["out_of_range"])


def test_it_is_told_in_spanish_and_asks_as_often_for_ten_sprays_as_for_one(
    summer, django_assert_max_num_queries
):
    summer.of(fungicide("Azoxystrobin 50 WG", group="11", most=1))
    for day in range(1, 11):
        summer.spray(f"2026-04-{day:02}", 60)

    with django_assert_max_num_queries(8):
        [block] = summer.rotation(accept_language="es")

    assert "su etiqueta permite 1" in block["groups"][0]["says"][0]
