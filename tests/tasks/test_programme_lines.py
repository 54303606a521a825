"""A season plan goes by what was seen in the block, not by the date: its line binds the issue of an order."""

import uuid

import pytest

from orchard.api.refusals import Conflict
from orchard.farms import journal
from orchard.farms.actors import SYSTEM
from orchard.tasks.models import Programme
from orchard.tasks.services import issue
from tests.factories import BlockFactory, amount
from tests.tasks.lowbell import draft, lowbell, see

pytestmark = pytest.mark.django_db
LINE = uuid.UUID("0197e4a2-7c1e-7a3b-9d52-0c8f3a6b1e11")


@pytest.fixture
def farm():
    return lowbell()


def planned(farm, block, total="196", **conditions):
    """Return a draft that carries out a line with these conditions."""
    line = {"id": str(LINE), "title": "Leaf-fall copper", "kind": "spray", **conditions}
    day = farm.now.date()
    programme = journal.create(
        Programme,
        farm=farm.farm,
        name="Winter",
        starts_on=day,
        ends_on=day,
        lines=[line],
        by=SYSTEM,
        now=farm.now,
    )
    return draft(farm, block, total=total, programme=programme, line=LINE)


def refused(farm, order):
    with pytest.raises(Conflict) as told:
        issue.issue(order=order, by=SYSTEM, now=farm.now)
    return told.value.faults


def test_an_order_waits_until_enough_leaves_are_down_and_names_the_observation(farm):
    seen = see(farm.a2, bbch=95, now=farm.now, leaf_drop_percent=amount("80", "g").value)

    faults = refused(farm, planned(farm, farm.a2, leaf_drop_minimum_percent="90"))

    assert [fault.code for fault in faults] == ["stage_condition_unmet"]
    assert faults[0].refers_to == ("stage_observation", str(seen.id))


def test_an_order_goes_once_enough_leaves_are_down(farm):
    see(farm.a2, bbch=95, now=farm.now, leaf_drop_percent=amount("96", "g").value)

    order = issue.issue(order=planned(farm, farm.a2, leaf_drop_minimum_percent="90"), by=SYSTEM, now=farm.now)

    assert order.status == "issued"


def test_leaves_that_nobody_counted_are_not_taken_as_down(farm):
    faults = refused(farm, planned(farm, farm.a2, leaf_drop_minimum_percent="90"))

    assert [fault.code for fault in faults] == ["stage_unknown"]


def test_a_stage_that_nobody_saw_is_unknown_and_not_fine(farm):
    unseen = BlockFactory(farm=farm.farm, area=amount("1", "acre"))

    faults = refused(farm, planned(farm, unseen, total="100", stage={"from": 93, "to": 53}))

    assert [fault.code for fault in faults] == ["stage_unknown"]


@pytest.mark.parametrize(
    ("bbch", "goes"), [(93, True), (97, True), (0, True), (53, True), (54, False), (92, False)]
)
def test_a_window_of_stages_passes_through_dormancy(farm, bbch, goes):
    see(farm.a2, bbch=bbch, now=farm.now)
    order = planned(farm, farm.a2, stage={"from": 93, "to": 53})

    codes = [fault.code for fault in issue.blocked_by(order=order, by=SYSTEM, now=farm.now)]

    assert ("stage_condition_unmet" not in codes) is goes
