"""A change may leave fields out; what it names is told whole, and a body without its end is none."""

import pytest
from django.test import RequestFactory

from orchard.api import bodies
from orchard.api.refusals import Refusal
from tests.callers import Caller, codes, pointers
from tests.factories import FarmFactory, LotFactory
from tests.invented.farm import q

pytestmark = pytest.mark.django_db


@pytest.fixture
def keeper():
    return Caller(FarmFactory(), "storekeeper")


def test_a_price_without_its_parts_is_refused(keeper):
    lot = LotFactory(farm=keeper.farm)

    refused = keeper.patch(f"lots/{lot.id}", {"price": {}})

    assert refused.status_code == 422, refused.content
    assert set(codes(refused)) == {"required"}
    assert all(pointer.startswith("/price/") for pointer in pointers(refused))


def test_a_count_without_its_lot_is_refused(keeper):
    lot = LotFactory(farm=keeper.farm)
    counts = [{"lot": str(lot.id), "counted": q("1", "lb")}]
    path = f"stocktakes/{keeper.post('stocktakes', {'counts': counts}).json()['id']}"

    refused = keeper.patch(path, {"counts": [{"counted": q("2", "lb")}]})

    assert (refused.status_code, codes(refused), pointers(refused)) == (422, ["required"], ["/counts/0/lot"])


def test_a_body_that_ends_before_it_was_to_is_refused():
    request = RequestFactory().post("/", b'{"name": "Teo"}', content_type="application/json")
    request.META["CONTENT_LENGTH"] = "900"

    with pytest.raises(Refusal) as refusal:
        bodies.receive(request)

    assert "ended too early" in refusal.value.faults[0].detail
