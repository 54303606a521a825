"""The order in which things go into the tank."""

from __future__ import annotations

from decimal import Decimal, localcontext

from hypothesis import given
from hypothesis import strategies as st

from mixing import doses, loads, order, sequence
from mixing.findings import Basis, Severity
from mixing.formulation_types import all_types
from mixing.order import Step
from mixing.quantities import EXACT, Quantity
from mixing.request import MixRequest
from tests.mixing.tanks import amount, product, tank

COPPER = {"active_ingredients": [{"name": "copper hydroxide"}]}
OIL = {"active_ingredients": [{"name": "mineral oil"}]}


def steps_of(request: MixRequest) -> tuple[Step, ...]:
    with localcontext(EXACT):
        return order.steps(request, loads.loads(request, doses.doses(request)))[0]


def findings_of(request: MixRequest) -> dict[str, tuple[str, ...]]:
    return {finding.id: finding.products for finding in order.steps(request, ())[1]}


def added(request: MixRequest) -> list[str]:
    return [step.doing.product for step in steps_of(request) if step.doing.product is not None]


def test_copper_goes_in_before_oil():
    oil = product("a-oil", formulation="EC", rate="1 percent_vv", **OIL)
    copper = product("z-copper", formulation="WG", rate="1 tbsp/gal", **COPPER)

    assert added(tank(oil, copper)) == ["z-copper", "a-oil"]


def test_a_liquid_copper_goes_in_before_oil_too():
    for formulation in ("SC", "SL", "EC", "OD", None):
        oil = product("a-oil", formulation="EC", rate="1 percent_vv", **OIL)
        copper = product("z-copper", formulation=formulation, **COPPER)

        assert added(tank(oil, copper)) == ["z-copper", "a-oil"], formulation


def test_packets_go_in_first_and_dissolve_before_anything_else():
    packet = product("z", formulation="WP", packet=True, rate="1 lb/100gal")
    conditioner = product("a", formulation="SL", adjuvant="water_conditioner")

    done = steps_of(tank(conditioner, packet))

    assert [step.doing.product for step in done if step.doing.action == "add"] == ["z", "a"]
    place = next(n for n, step in enumerate(done) if step.doing.product == "z")
    assert done[place + 1].doing.action == "wait"
    assert "fully dissolved" in done[place + 1].doing.note.render()


def test_dry_goes_before_flowable_before_emulsion_before_spreader():
    mix = tank(
        product("1", formulation="EC"),
        product("2", formulation="WP"),
        product("3", formulation="SC"),
        product("4", formulation="SL", adjuvant="surfactant"),
        product("5", formulation="WG"),
        product("6", formulation="SL", adjuvant="compatibility_agent"),
    )

    assert added(mix) == ["6", "5", "2", "3", "1", "4"]


def test_equals_go_in_by_their_ids():
    assert added(tank(product("b", formulation="WG"), product("a", formulation="WG"))) == ["a", "b"]


def test_the_tank_is_filled_to_half_first_and_topped_up_last():
    mix = tank(product("a", formulation="SC"), spray={"total": amount("10 gal")})

    fills = [step.amount.as_json() for step in steps_of(mix) if step.doing.action == "fill"]

    assert fills == [amount("2 gal"), amount("2 gal")]
    assert [step.doing.action for step in steps_of(mix)][:2] == ["fill", "agitate"]


def test_half_of_a_small_job_is_half_of_its_spray_not_of_the_tank():
    mix = tank(product("a", formulation="SC"), spray={"total": amount("3 gal")})

    assert steps_of(mix)[0].amount.as_json() == amount("1.5 gal")


def test_the_water_of_both_fillings_is_the_water_of_the_load():
    oil = product("oil", formulation="EC", rate="2 percent_vv", **OIL)
    mix = tank(oil, spray={"total": amount("4 gal")})

    first, rest = (step.amount.value for step in steps_of(mix) if step.doing.action == "fill")

    with localcontext(EXACT):
        assert first + rest == loads.loads(mix, doses.doses(mix))[0].water.value


def test_a_label_that_wants_more_water_first_gets_it():
    asks = {"order": {"fill_percent": "75"}}
    mix = tank(product("a", formulation="SC", mixing=asks), spray={"total": amount("4 gal")})

    assert steps_of(mix)[0].amount.as_json() == amount("3 gal")


def test_each_product_is_added_with_its_amount_for_the_first_load():
    copper = product("cu", formulation="WG", rate="1.5 tbsp/gal", bulk_density=amount("0.7 kg/L"))
    mix = tank(copper, spray={"total": amount("6 gal")})

    assert [step.amount.as_json() for step in steps_of(mix) if step.doing.product] == [amount("6 tbsp")]


def test_a_step_says_which_measures_to_use_where_one_mark_does_not_show_the_amount():
    oil = product("oil", formulation="EC", rate="1 percent_vv", **OIL)
    mix = tank(oil, spray={"total": amount("4 gal")}, measures=["fl_oz", "tbsp"])

    (adding,) = (step for step in steps_of(mix) if step.doing.product)

    assert adding.as_json(3, "en")["amount"] == amount("5.12 fl_oz")
    assert adding.as_json(3, "en")["note"].startswith("Measure 5 fl_oz + 0.25 tbsp. Oil goes in")
    assert adding.as_json(3, "es")["note"].startswith("Mida 5 fl_oz + 0.25 tbsp. El aceite va")


def test_a_measure_that_is_the_amount_is_not_said_twice():
    mix = tank(product("a", rate="1 tbsp/gal"), spray={"total": amount("4 gal")}, measures=["tbsp"])

    assert "Measure" not in order.written(steps_of(mix), stopped=False, language="en")[2]["note"]


def test_a_tank_that_is_stopped_says_so_before_the_first_step():
    done = steps_of(tank(product("a")))

    assert order.written(done, stopped=True, language="en")[0]["note"].startswith("STOP:")
    assert order.written(done, stopped=True, language="es")[0]["note"].startswith("ALTO:")
    assert not order.written(done, stopped=False, language="en")[0]["note"].startswith("STOP:")


def test_without_a_spray_volume_the_order_stands_without_amounts():
    mix = tank(product("b", formulation="EC"), product("a", formulation="WG"))

    assert added(mix) == ["a", "b"]
    assert {step.amount for step in steps_of(mix)} == {None}


def test_a_label_that_asks_to_go_in_later_goes_in_later():
    copper = product("cu", formulation="SL", mixing={"order": {"after": ["fungicide"]}})
    other = product("ec", formulation="EC", function=["fungicide"])

    assert added(tank(copper, other)) == ["ec", "cu"]


def test_a_label_that_asks_to_go_in_before_oil_is_kept_against_its_place():
    spreader = product("s", adjuvant="surfactant", formulation="SL", mixing={"order": {"before": ["oil"]}})
    oil = product("oil", formulation="EC", **OIL)

    assert added(tank(oil, spreader)) == ["s", "oil"]


def test_labels_that_contradict_each_other_stop_the_mix_and_are_both_named():
    one = product("a", name="Alpha 50 WG", function=["x"], mixing={"order": {"before": ["y"]}})
    other = product("b", name="Beta 20 SC", function=["y"], mixing={"order": {"before": ["x"]}})
    bystander = product("c", formulation="EC")

    done, (finding,) = order.steps(tank(one, other, bystander), ())

    assert done == ()
    assert (finding.severity, finding.basis) == (Severity.STOP, Basis.LABEL)
    assert finding.products == ("a", "b")
    assert finding.parameters["products"] == "Alpha 50 WG, Beta 20 SC"
    assert not finding.may_be_overridden


def test_two_packs_of_one_label_do_not_contradict_each_other():
    asks = {"order": {"before": ["fungicide"]}}
    one, other = (
        product(id, registration="demo-1", function=["fungicide"], mixing=asks) for id in ("a", "b")
    )

    assert added(tank(one, other)) == ["a", "b"]


def test_a_note_says_where_publishers_turn_two_products_round():
    mix = tank(
        product("s", name="Soluble", formulation="SL"), product("e", name="Emulsion", formulation="EC")
    )

    (finding,) = order.steps(mix, ())[1]

    assert (finding.id, finding.severity) == ("order.publishers-differ", Severity.NOTE)
    assert finding.products == ("s", "e"), "as they stand in the request"
    assert finding.parameters["products"] == "Soluble, Emulsion"
    assert "Oklahoma State University" in finding.parameters["publishers"]
    assert "Utah" not in finding.parameters["publishers"]


def test_no_note_where_publishers_agree():
    assert findings_of(tank(product("w", formulation="WP"), product("e", formulation="EC"))) == {}


def test_no_note_where_a_label_has_decided():
    soluble = product("s", formulation="SL", mixing={"order": {"after": ["wanted"]}})

    assert findings_of(tank(soluble, product("e", formulation="EC", function=["wanted"]))) == {}


def test_an_unstated_formulation_goes_in_late_and_is_named():
    mix = tank(
        product("a", formulation=None), product("e", formulation="EC"), product("o", formulation="EC", **OIL)
    )

    assert added(mix) == ["e", "a", "o"]
    assert findings_of(mix) == {"order.formulation-not-stated": ("a",)}
    assert [one.what for one in order.missing(mix.products)] == ["label.formulation:a"]


def test_a_dust_does_not_belong_in_a_spray_tank():
    assert findings_of(tank(product("d", formulation="DP")))["order.not-for-water"] == ("d",)


def test_a_machine_agitates_and_a_backpack_is_shaken():
    by_hand, by_machine = (
        steps_of(tank(product("a"), sprayer={"kind": kind, "tank": amount("4 gal")}))[1].doing.note.render()
        for kind in ("backpack", "airblast")
    )

    assert "shake" in by_hand
    assert "agitator" in by_machine


def test_a_dial_draws_neat_product_so_no_water_goes_into_the_jar():
    sprayer = {"kind": "hose_end_dial", "jar": amount("1 pt")}
    done = steps_of(tank(product("b", formulation="EC"), product("a", formulation="SC"), sprayer=sprayer))

    assert [step.doing.product for step in done if step.doing.action == "add"] == ["a", "b"]
    assert "fill" not in {step.doing.action for step in done}


def test_the_premix_of_a_fixed_ratio_is_topped_up_with_its_water():
    mix = tank(product("a", formulation="SC"), sprayer={"kind": "hose_end_ratio", "jar": amount("1 pt")})

    done, _ = order.steps(mix, (), premix_water=Quantity(Decimal("36"), "fl_oz"))

    assert [step.doing.action for step in done] == ["add", "agitate", "fill", "agitate"]
    assert done[2].as_json(3, "en")["amount"] == amount("36 fl_oz")


def test_steps_are_written_with_their_number_and_in_either_language():
    packet = product("p", formulation="WP", packet=True)
    written = [step.as_json(n, "es") for n, step in enumerate(steps_of(tank(packet)), 1)]

    assert [step["step"] for step in written] == [1, 2, 3, 4, 5, 6]
    assert list(written[2]) == ["step", "action", "product", "note"]
    assert written[3]["for"] == amount("5 min")
    assert "bolsas" in written[2]["note"]


FORMULATIONS = st.sampled_from([*sorted(all_types()), None])
KINDS = st.sampled_from(
    [None, "surfactant", "oil", "water_conditioner", "antifoam", "nutrient", "drift_retardant"]
)


@st.composite
def mixes(draw):
    count = draw(st.integers(1, 7))
    made = []
    for number in range(count):
        targets = [f"f{n}" for n in range(number + 1, count) if draw(st.integers(0, 3)) == 0]
        made.append(
            product(
                draw(st.sampled_from("abc")) + str(number),
                formulation=draw(FORMULATIONS),
                adjuvant=draw(KINDS),
                packet=draw(st.booleans()),
                function=[f"f{number}"],
                mixing={"order": {"before": targets}},
            )
        )
    return made


@given(mixes(), st.randoms(use_true_random=False))
def test_the_order_does_not_depend_on_the_order_of_the_request(made, random):
    shuffled = random.sample(made, k=len(made))

    assert added(tank(*made)) == added(tank(*shuffled))


@given(mixes())
def test_every_product_is_added_exactly_once(made):
    assert sorted(added(tank(*made))) == sorted(one["id"] for one in made)


@given(mixes())
def test_what_labels_ask_is_always_kept(made):
    mix = tank(*made)
    place = {id: n for n, id in enumerate(added(mix))}

    assert all(place[before] < place[after] for before, after in sequence.label_edges(mix.recipe))


@given(mixes())
def test_without_label_orders_packets_come_first_and_oil_after_every_other_crop_product(made):
    for one in made:
        one["label"]["mixing"] = None
    mix = tank(*made)
    places = [sequence.place_of(p.label) for id in added(mix) for p in mix.products if p.id == id]

    last_packet = max((n for n, place in enumerate(places) if place == "packet"), default=-1)
    assert all(place == "packet" for place in places[: last_packet + 1])
    first_oil = places.index("oil") if "oil" in places else len(places)
    assert not set(places[first_oil:]) - {"oil", "surfactant", "sticker", "nutrient"}
