"""What holds for every mix: loads add up, no rounding passes a label, order of input is nothing."""

import json
from decimal import Decimal

from hypothesis import given, reject, settings
from hypothesis import strategies as some

from mixing import MixRequestError, check_mix
from mixing.quantities import Quantity
from tests.mixing.mixes import ids, mix, powder, product, q, use

amounts = some.decimals("0.01", "9", places=2).map(lambda value: format(value.normalize(), "f"))
rates = some.sampled_from(
    ["tbsp/gal", "fl_oz/gal", "tsp/gal", "mL/L", "fl_oz/100gal", "lb/acre", "L/ha", "g/100L", "oz_wt/gal"]
)
tanks = some.tuples(
    some.sampled_from(["3", "4", "5", "7.5", "15"]), some.sampled_from(["gal", "L", "imp_gal"])
)
totals = some.tuples(
    some.decimals("0.5", "60", places=1).map(lambda v: format(v, "f")), some.sampled_from(["gal", "L", "qt"])
)
measures = some.lists(
    some.sampled_from(["tbsp", "tsp", "cup", "fl_oz", "mL", "g", "lb", "oz_wt", "imp_fl_oz"]), max_size=5
)


@some.composite
def jobs(draw):
    """A request of one to three products, liquids and powders, some at the very maximum of their label."""
    made = []
    for number in range(draw(some.integers(1, 3))):
        rate = q(draw(amounts), draw(rates))
        maximum = rate if draw(some.booleans()) else q(draw(amounts), draw(rates))
        one = draw(some.sampled_from([product, powder]))
        made.append(one(f"p{number}", rate, uses=[use(rate={"maximum": maximum})], density=q("1.1", "kg/L")))
    return mix(
        *made,
        sprayer={"kind": "backpack", "tank": q(*draw(tanks)), "residue": [], "materials": []},
        spray={"total": q(*draw(totals)), "area": q("0.3", "acre")},
        measures=draw(measures) or None,
    )


def checked(request):
    """Return the report; a rate a thousand times the label's is refused, which is tested elsewhere."""
    try:
        return check_mix(request)
    except MixRequestError as refused:
        assert {error["code"] for error in refused.errors} == {"out_of_range"}
        reject()


def doses(report, id):
    return [dose for load in report["loads"] for dose in load["products"] if dose["id"] == id]


@settings(max_examples=150, deadline=None)
@given(jobs())
def test_the_loads_add_up_to_the_total_to_the_last_digit(request):
    report = checked(request)

    for total in report["totals"]:
        parts = doses(report, total["id"])
        assert {part["exact"]["unit"] for part in parts} == {total["exact"]["unit"]}
        assert sum(Decimal(part["exact"]["value"]) for part in parts) == Decimal(total["exact"]["value"])


@settings(max_examples=150, deadline=None)
@given(jobs())
def test_the_spray_of_the_loads_is_the_spray_of_the_job(request):
    report = checked(request)

    (unit,) = {load["spray"]["unit"] for load in report["loads"]}
    total = Quantity(Decimal(request["spray"]["total"]["value"]), request["spray"]["total"]["unit"]).to(unit)
    shown = sum(Decimal(load["spray"]["value"]) for load in report["loads"])
    assert abs(shown - total.value) <= Decimal("1e-15")
    tank = Quantity(Decimal(request["sprayer"]["tank"]["value"]), request["sprayer"]["tank"]["unit"]).to(unit)
    assert all(0 < Decimal(load["spray"]["value"]) <= tank.value for load in report["loads"])
    assert all(Decimal(load["water"]["value"]) <= Decimal(load["spray"]["value"]) for load in report["loads"])


@settings(max_examples=200, deadline=None)
@given(jobs())
def test_no_measure_passes_the_labels_maximum_where_the_rate_does_not(request):
    report = checked(request)
    above = {
        id for one in report["findings"] if one["id"] == "label.rate-above-maximum" for id in one["products"]
    }

    for asked in request["products"]:
        maximum = asked["label"]["uses"][0]["rate"]["maximum"]
        if asked["id"] in above or maximum["unit"] != asked["rate"]["unit"]:
            continue
        allowed = Decimal(maximum["value"]) / Decimal(asked["rate"]["value"])
        for dose in doses(report, asked["id"]):
            if dose["error_percent"] is not None:
                shown = measured(dose, asked["label"])
                assert shown <= Decimal(dose["exact"]["value"]) * allowed + Decimal("1e-12")


def measured(dose, label):
    """Return what is to be measured in the unit of the exact amount, by the density where kinds differ."""
    exact = Quantity(Decimal(0), dose["exact"]["unit"])
    weight = label.get("bulk_density") or label["density"]
    per_ml = Quantity(Decimal(weight["value"]), weight["unit"]).in_base()
    total = Decimal(0)
    for part in dose["measure"]:
        quantity = Quantity(Decimal(part["value"]), part["unit"])
        base = quantity.in_base()
        if quantity.dimension != exact.dimension:
            base = base * per_ml if quantity.dimension == "volume" else base / per_ml
        total += base
    return total / Quantity(Decimal(1), exact.unit).in_base()


@settings(max_examples=100, deadline=None)
@given(jobs())
def test_measures_are_largest_first_and_their_error_is_told(request):
    report = checked(request)

    for asked in request["products"]:
        for dose in doses(report, asked["id"]):
            if not dose["measure"]:
                continue
            sizes = [Quantity(Decimal(1), part["unit"]).in_base() for part in dose["measure"]]
            assert sizes == sorted(sizes, reverse=True)
            wanted = Decimal(dose["exact"]["value"])
            error = (measured(dose, asked["label"]) - wanted) / wanted * 100
            assert abs(error - Decimal(dose["error_percent"])) <= Decimal("0.0500001")


@settings(max_examples=60, deadline=None)
@given(jobs())
def test_the_same_request_gives_the_same_bytes(request):
    first = json.dumps(checked(request))

    assert json.dumps(checked(json.loads(json.dumps(request)))) == first


@settings(max_examples=60, deadline=None)
@given(jobs())
def test_the_order_in_the_tank_does_not_depend_on_the_order_of_the_request(request):
    turned = {**request, "products": request["products"][::-1]}

    one, other = checked(request), checked(turned)

    assert [step.get("product") for step in one["order"]] == [step.get("product") for step in other["order"]]
    assert ids(one) == ids(other)
    assert one["verdict"] == other["verdict"]
