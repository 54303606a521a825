"""What holds for all doses and all weather, not only for examples."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from mixing.calculations.exact import text
from tests.mixing.calculations.asking import ask, value

amounts = st.decimals(min_value="0.001", max_value="9999", places=3).map(lambda x: format(x, "f"))
degrees = st.decimals(min_value=-20, max_value=45, places=1)
volumes = st.sampled_from(["gal", "L", "qt", "imp_gal", "mL", "m3"])
areas = st.sampled_from(["acre", "ha", "1000ft2", "m2"])
weights = st.sampled_from(["lb", "kg", "g", "oz_wt", "mg"])
rates = st.sampled_from(["tbsp/gal", "fl_oz/100gal", "mL/100L", "g/L", "lb/100gal", "imp_fl_oz/imp_gal"])
quick = settings(max_examples=60, deadline=None)

NEAR = Decimal("1e-12")


def day(low: Decimal, high: Decimal) -> dict[str, object]:
    return {
        "minimum": {"value": format(low, "f"), "unit": "degC"},
        "maximum": {"value": format(high, "f"), "unit": "degC"},
    }


@quick
@given(amounts, volumes, amounts, rates)
def test_a_dose_doubles_with_its_volume_and_with_its_rate(
    volume: str, unit: str, rate: str, rate_unit: str
) -> None:
    once = ask("dose_by_volume", volume=f"{volume} {unit}", rate=f"{rate} {rate_unit}")["amount"]
    more = ask("dose_by_volume", volume=f"{Decimal(volume) * 2} {unit}", rate=f"{rate} {rate_unit}")["amount"]
    stronger = ask("dose_by_volume", volume=f"{volume} {unit}", rate=f"{Decimal(rate) * 2} {rate_unit}")[
        "amount"
    ]

    for other in (more, stronger):
        doubled = Decimal(once["value"]) * 2
        assert abs(Decimal(other["value"]) - doubled) <= NEAR * max(doubled, 1)


@quick
@given(amounts, areas, amounts, weights, areas)
def test_an_answer_in_another_unit_is_the_same_amount(
    area: str, unit: str, rate: str, weight: str, per: str
) -> None:
    per = "ha" if per == "1000ft2" else per
    own = ask("dose_by_area", area=f"{area} {unit}", rate=f"{rate} {weight}/{per}")["amount"]
    other = ask("dose_by_area", area=f"{area} {unit}", rate=f"{rate} {weight}/{per}", in_={"amount": "kg"})[
        "amount"
    ]

    exact = value(own, "kg")
    assert abs(Decimal(other["value"]) - exact) <= NEAR * max(exact, 1)


@quick
@given(amounts, weights, amounts)
def test_weighing_and_measuring_come_back(weight: str, unit: str, density: str) -> None:
    measured = ask("weigh_measure", mass=f"{weight} {unit}", density=f"{density} g/L", in_={"volume": "mL"})
    there = Decimal(measured["volume"]["value"])

    back = there * Decimal(density) / 1000  # g
    exact = value({"value": weight, "unit": unit}, "g")
    assert abs(back - exact) <= Decimal("1e-9") * max(exact, 1)


@quick
@given(amounts, st.decimals(min_value=1, max_value=500, places=2), amounts, rates)
def test_loads_add_up_to_the_job(total: str, tank: Decimal, rate: str, rate_unit: str) -> None:
    total = format(Decimal(total) % 2000 + 1, "f")
    if Decimal(total) / tank > 200:
        return

    answer = ask("tank_loads", total=f"{total} gal", tank=f"{tank} gal", rate=f"{rate} {rate_unit}")

    spray = sum(Decimal(load["spray"]["value"]) for load in answer["loads"])
    product = sum(Decimal(load["amount"]["value"]) for load in answer["loads"])
    whole = Decimal(answer["total"]["value"])
    assert spray == Decimal(total)
    assert abs(product - whole) <= NEAR * max(whole, 1)
    assert answer["full_loads"] == Decimal(total) // tank
    assert all(Decimal(load["spray"]["value"]) <= tank for load in answer["loads"])


@quick
@given(amounts, amounts, amounts)
def test_flow_and_rate_undo_each_other(rate: str, speed: str, width: str) -> None:
    given = {"speed": f"{speed} km/h", "swath": f"{width} m"}

    flow = ask("nozzle_flow", rate=f"{rate} L/ha", **given)["flow"]
    if len(flow["value"].replace(".", "")) > 20:
        return
    back = ask("application_rate", flow=f"{flow['value']} {flow['unit']}", **given)["rate"]

    assert abs(Decimal(back["value"]) - Decimal(rate)) <= Decimal("1e-6") * Decimal(rate)


@quick
@given(
    st.lists(st.tuples(degrees, degrees), min_size=1, max_size=6),
    st.sampled_from(["average", "single_triangle", "single_sine", "double_sine"]),
    st.decimals(min_value=0, max_value=15, places=1),
)
def test_degree_days_fall_with_the_base_and_rise_with_the_cut_off(
    pairs: list[tuple[Decimal, Decimal]], method: str, base: Decimal
) -> None:
    days = [day(min(pair), max(pair)) for pair in pairs]

    def total(**more: str) -> Decimal:
        return Decimal(ask("degree_days", days=days, method=method, **more)["total"]["value"])

    low, high = total(base=f"{base} degC"), total(base=f"{base + 1} degC")
    cut, less_cut = (total(base=f"{base} degC", upper=f"{top} degC") for top in (25, 30))
    assert 0 <= high <= low
    assert 0 <= cut <= less_cut <= low


@quick
@given(degrees, degrees, st.decimals(min_value=0, max_value=15, places=1))
def test_the_sine_lies_above_the_triangle_where_only_its_top_counts(
    one: Decimal, other: Decimal, base: Decimal
) -> None:
    low, high = min(one, other), max(one, other)
    if not low < base < high or (low + high) / 2 > base:
        return
    days = [day(low, high)]

    sine = ask("degree_days", days=days, base=f"{base} degC", method="single_sine")["total"]
    triangle = ask("degree_days", days=days, base=f"{base} degC", method="single_triangle")["total"]

    assert Decimal(sine["value"]) >= Decimal(triangle["value"]) - NEAR


@quick
@given(degrees, st.integers(0, 100))
def test_delta_t_is_never_below_nothing_and_shrinks_with_humidity(air: Decimal, humidity: int) -> None:
    def delta(percent: int) -> Decimal:
        answer = ask("delta_t", temperature=f"{air} degC", humidity_percent=percent)
        return Decimal(answer["delta_t"]["value"])

    assert delta(humidity) >= -NEAR
    assert delta(min(humidity + 5, 100)) <= delta(humidity) + Decimal("0.3")


@quick
@given(amounts, amounts, amounts)
def test_canopy_grows_with_each_of_its_sides(height: str, width: str, row: str) -> None:
    def canopy(**sides: str) -> Decimal:
        answer = ask(
            "tree_row_volume", **{"height": height, "canopy_width": width, "row_spacing": row} | sides
        )
        return Decimal(answer["canopy_volume_per_area"]["value"])

    height, width, row = (f"{side} m" for side in (height, width, row))
    once, twice = canopy(), canopy(height=f"{Decimal(height.split(' ')[0]) * 2} m")
    assert abs(twice - 2 * once) <= NEAR * max(twice, 1)


@quick
@given(st.lists(st.integers(0, 72), min_size=1, max_size=5))
def test_re_entry_waits_for_the_longest_whatever_the_order(hours: list[int]) -> None:
    def until(order: list[int]) -> str:
        intervals = [f"{one} h" for one in order]
        return str(ask("re_entry", finished_at="2027-01-29T08:00:00-08:00", intervals=intervals)["until"])

    assert until(hours) == until(sorted(hours)) == until([max(hours)])


@quick
@given(st.integers(1, 500), st.integers(0, 500), st.integers(1, 500), st.integers(1, 500))
def test_no_treatment_kills_more_than_all(
    before: int, after: int, check_before: int, check_after: int
) -> None:
    for method in ("henderson_tilton", "schneider_orelli"):
        answer = ask(
            "efficacy",
            method=method,
            treated_before=before,
            treated_after=after,
            check_before=check_before,
            check_after=check_after,
        )
        assert Decimal(answer["percent"]) <= 100


@quick
@given(st.decimals(min_value="0.000001", max_value="99999999", places=6), volumes, rates)
def test_an_answer_can_be_asked_with_again(volume: Decimal, unit: str, rate_unit: str) -> None:
    first = ask("dose_by_volume", volume=f"{volume:f} {unit}", rate=f"1.23456789 {rate_unit}")["amount"]

    again = ask("weigh_measure", **{_kind(first["unit"]): first}, density="0.777 g/mL")

    assert again["steps"]


def _kind(unit: str) -> str:
    return "mass" if unit in ("g", "kg", "lb", "oz_wt", "mg") else "volume"


@quick
@given(st.fractions(min_value="1/1000000", max_value=10**12, max_denominator=10**9))
def test_a_written_number_is_near_and_never_longer_than_what_can_be_read(exact: Fraction) -> None:
    written = text(exact)

    assert len(written.replace(".", "")) <= 20
    assert abs(Fraction(written) - exact) <= exact / 10**8
    if Fraction(written) != exact:
        assert len(written.replace(".", "").lstrip("0")) >= 8
