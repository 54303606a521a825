"""Each sentence of "Meanings" in the contract, as a test."""

import json

import pytest

from mixing import MixRequestError, check_mix
from tests.mixing.mixes import gaps, ids, label, mix, powder, product, q, use


def finding(report, id):
    """Return the one finding of that id."""
    (found,) = [one for one in report["findings"] if one["id"] == id]
    return found


def by_label(report):
    """Return the ids of stops that rest on a label."""
    return {one["id"] for one in report["findings"] if one["severity"] == "stop" and one["basis"] == "label"}


def limited(**row):
    """Return a product of which one use has these limits."""
    return product(uses=[use(re_entry=q("24", "h"), pre_harvest=q("0", "d"), **row)])


def sprayed(on, one=None, **changes):
    """Return an earlier application of the same product."""
    done = {"on": on, "bbch": 97, "label": (one or product())["label"], "rate": q("1", "fl_oz/gal"),
            "spray_volume": q("10", "gal"), "area": q("0.25", "acre")}  # fmt: skip
    return {**done, **changes}


COPPER = [
    {
        "name": "copper hydroxide",
        "content": q("53.8", "percent_ww"),
        "metal": {"of": "copper", "content": q("35", "percent_ww")},
    }
]


def copper(rate=None, **changes):
    made = {"name": "Copper hydroxide 53.8 WG", "formulation": "WG", "active_ingredients": COPPER}
    return powder("cu", rate or q("1", "lb/acre"), **{**made, **changes})


class TestDates:
    def test_without_at_nothing_that_needs_a_date_is_worked_out(self):
        report = check_mix(mix(at=None))

        assert report["year"] is None
        assert report["re_entry"]["until"] is None
        assert report["harvest"]["not_before"] is None
        assert "at" in gaps(report)

    @pytest.mark.parametrize(
        ("on", "counted"), [("2026-01-21", False), ("2026-01-22", True), ("2027-01-21", True)]
    )
    def test_an_application_counts_for_the_365_days_up_to_at(self, on, counted):
        report = check_mix(mix(limited(maximum_applications=1), history=[sprayed(on, limited())]))

        assert ("label.number" in ids(report)) is counted

    def test_an_application_after_at_is_an_error(self):
        with pytest.raises(MixRequestError):
            check_mix(mix(history=[sprayed("2027-01-22")]))

    @pytest.mark.parametrize(("on", "stopped"), [("2027-01-15", True), ("2027-01-14", False)])
    def test_an_interval_of_seven_days_after_the_1st_is_over_on_the_8th(self, on, stopped):
        one = limited(interval=q("7", "d"))

        assert ("label.interval" in by_label(check_mix(mix(one, history=[sprayed(on, one)])))) is stopped

    def test_days_are_counted_in_the_offset_of_at(self):
        one = limited(interval=q("7", "d"))
        late = mix(one, at="2027-01-21T23:30:00-08:00", history=[sprayed("2027-01-14", one)])

        assert "label.interval" not in ids(check_mix(late))

    def test_harvest_is_allowed_on_day_0_plus_n(self):
        report = check_mix(mix(product(uses=[use(re_entry=q("24", "h"), pre_harvest=q("21", "d"))])))

        assert report["harvest"] == {"interval": q("21", "d"), "not_before": "2027-02-11"}

    def test_re_entry_counts_from_at(self):
        report = check_mix(mix(product(uses=[use(re_entry=q("48", "h"), pre_harvest=q("0", "d"))])))

        assert report["re_entry"] == {"interval": q("48", "h"), "until": "2027-01-23T08:00:00-08:00"}

    @pytest.mark.parametrize(("seen", "old"), [("2027-01-07", False), ("2027-01-06", True)])
    def test_a_stage_seen_more_than_14_days_ago_is_a_caution(self, seen, old):
        report = check_mix(mix(stage={"bbch": 1, "observed_on": seen}))

        assert ("label.observation-old" in ids(report)) is old
        assert report["verdict"] == ("caution" if old else "ok")

    def test_history_may_reach_back_further(self):
        assert check_mix(mix(history=[sprayed("2019-01-01")]))["verdict"] == "ok"


class TestWhichUseApplies:
    def test_no_row_for_the_crop_is_a_stop(self):
        assert by_label(check_mix(mix(crop="apple")))

    def test_rows_but_none_at_this_stage_is_a_stop(self):
        assert "label.stage" in by_label(check_mix(mix(limited(stages=[{"from": 51, "to": 57}]))))

    @pytest.mark.parametrize(
        ("bbch", "inside"), [(93, True), (0, True), (57, True), (58, False), (92, False)]
    )
    def test_windows_wrap_round_and_both_ends_are_in(self, bbch, inside):
        request = mix(
            limited(stages=[{"from": 93, "to": 57}]), stage={"bbch": bbch, "observed_on": "2027-01-20"}
        )

        assert ("label.stage" not in ids(check_mix(request))) is inside

    def test_no_row_for_any_target_is_a_caution(self):
        report = check_mix(mix(targets=["brown rot"]))

        assert finding(report, "label.target")["severity"] == "caution"

    def test_all_rows_of_the_crop_hold_where_no_target_is_given(self):
        strict = use(targets=["brown rot"], wind={"maximum": q("3", "mph")})

        assert "label.wind-above" in by_label(check_mix(mix(product(uses=[use(), strict]), targets=[])))
        assert "label.wind-above" not in by_label(check_mix(mix(product(uses=[use(), strict]))))

    def test_the_strictest_of_the_rows_left_holds(self):
        rows = [use(wind={"maximum": q("10", "mph")}), use(wind={"maximum": q("4", "mph")})]

        assert "label.wind-above" in by_label(check_mix(mix(product(uses=rows))))

    def test_a_maximum_per_volume_and_one_per_area_both_hold(self):
        rows = [
            use(rate={"maximum": q("2", "fl_oz/gal")}),
            use(rate={"maximum": q("30", "fl_oz/acre")}),
        ]

        assert "label.rate-above-maximum" in by_label(check_mix(mix(product(uses=rows))))


class TestWhatMatches:
    @pytest.mark.parametrize("what", ["Zolanide", "oil", "INSECTICIDE", "reg-7", "surfactant"])
    def test_a_what_is_an_ingredient_a_group_a_function_a_registration_or_an_adjuvant(self, what):
        first = product("a", mixing={"do_not_mix_with": [{"what": what}]})
        others = {
            "Zolanide": {"active_ingredients": [{"name": "zolanide"}]},
            "oil": {"active_ingredients": [{"name": "mineral oil"}]},
            "INSECTICIDE": {"function": ["insecticide"]},
            "reg-7": {"registration": "REG-7"},
            "surfactant": {"adjuvant": "surfactant", "active_ingredients": []},
        }

        report = check_mix(mix(first, product("b", name="Other 10 EC", **others[what])))

        assert finding(report, "label.do-not-mix")["products"] == ["a", "b"]

    def test_may_mix_with_settles_the_pair_unless_the_other_label_forbids_it(self):
        a = product("a", mixing={"may_mix_with": [{"what": "zolanide"}]})
        b = product("b", name="Zolanide 10 SC")
        against = product("b", name="Zolanide 10 SC", mixing={"do_not_mix_with": [{"what": "pyrafenol"}]})

        assert not any(one["basis"] == "untested" for one in check_mix(mix(a, b))["findings"])
        assert "label.do-not-mix" in by_label(check_mix(mix(a, against)))

    def test_a_label_needs_only_its_name(self):
        report = check_mix(mix({"id": "a", "rate": q("1", "fl_oz/gal"), "label": {"name": "Something"}}))

        assert report["verdict"] in ("ok", "caution")
        assert "label.uses:a" in gaps(report)

    def test_null_and_absent_are_the_same(self):
        one = product()
        bare = {key: value for key, value in one["label"].items() if key != "density"}

        assert json.dumps(check_mix(mix({**one, "label": {**bare, "density": None}}))) == json.dumps(
            check_mix(mix({**one, "label": bare}))
        )

    def test_adjuvants_may_be_required_forbidden_and_limited(self):
        spreader = product(
            "s", name="Spreader", adjuvant="surfactant", active_ingredients=[], formulation="SL"
        )
        needs = product("a", mixing={"adjuvants": {"required": ["oil"]}})
        bans = product("a", mixing={"adjuvants": {"forbidden": ["surfactant"]}})
        allows = product("a", mixing={"adjuvants": {"allowed": ["oil"]}})

        assert by_label(check_mix(mix(needs))) == {"label.adjuvant-required"}
        assert by_label(check_mix(mix(bans, spreader))) == {"label.adjuvant-forbidden"}
        assert by_label(check_mix(mix(allows, spreader))) == {"label.adjuvant-not-allowed"}


class TestSeverity:
    @pytest.mark.parametrize(
        ("row", "changes", "id"),
        [
            ({"rate": {"maximum": q("0.9", "fl_oz/gal")}}, {}, "label.rate-above-maximum"),
            ({"stages": [{"from": 60, "to": 69}]}, {}, "label.stage"),
            ({"wind": {"maximum": q("4", "mph")}}, {}, "label.wind-above"),
            ({"temperature": {"minimum": q("12", "degC")}}, {}, "label.temperature-below"),
            ({"temperature": {"maximum": q("48", "degF")}}, {}, "label.temperature-above"),
            ({"rain_free": q("80", "h")}, {}, "label.rain-free"),
        ],
    )
    def test_a_labels_own_limit_stops(self, row, changes, id):
        assert id in by_label(check_mix(mix(limited(**row), **changes)))

    def test_water_outside_the_labels_ph_stops(self):
        narrow = {"water_ph": {"minimum": "5", "maximum": "6.5"}}

        stops = by_label(check_mix(mix(product(mixing=narrow))))

        assert any("ph" in id for id in stops)

    def test_below_the_minimum_rate_is_a_caution(self):
        report = check_mix(mix(limited(rate={"minimum": q("2", "fl_oz/gal")})))

        assert finding(report, "label.rate-below-minimum")["severity"] == "caution"

    def test_wind_above_10_mph_without_a_label_limit_is_a_published_stop(self):
        weather = mix()["weather"]
        windy = check_mix(mix(weather={**weather, "wind": q("11", "mph")}))
        allowed = check_mix(
            mix(limited(wind={"maximum": q("15", "mph")}), weather={**weather, "wind": q("11", "mph")})
        )

        (stop,) = [one for one in windy["findings"] if one["severity"] == "stop"]
        assert stop["basis"] == "published"
        assert stop["may_be_overridden"] is True
        assert allowed["verdict"] != "stop"

    @pytest.mark.parametrize("weather", [{"wind": q("2", "mph")}, {"inversion": True}])
    def test_calm_air_or_an_inversion_is_never_ok(self, weather):
        assert check_mix(mix(weather={**mix()["weather"], **weather}))["verdict"] in ("caution", "stop")

    def test_only_published_stops_may_be_overridden(self):
        reports = [
            check_mix(mix(copper(), stage={"bbch": 65, "observed_on": "2027-01-20"})),
            check_mix(mix(limited(wind={"maximum": q("4", "mph")}))),
            check_mix(mix(product("a"), product("b", name="Zolanide 10 EC", formulation="EC"))),
        ]

        for one in (one for report in reports for one in report["findings"]):
            published_stop = one["severity"] == "stop" and one["basis"] == "published"
            assert one["may_be_overridden"] is published_stop

    def test_a_published_stage_rule_is_at_most_a_caution_inside_the_labels_window(self):
        bloom = {"bbch": 65, "observed_on": "2027-01-20"}
        without = check_mix(mix(copper(), stage=bloom))
        within = check_mix(mix(copper(uses=[use(stages=[{"from": 0, "to": 99}])]), stage=bloom))

        assert any(one["severity"] == "stop" and one["basis"] == "published" for one in without["findings"])
        assert not any(
            one["id"].startswith("stage.") and one["severity"] == "stop" for one in within["findings"]
        )

    def test_a_missing_field_that_a_label_needs_is_a_caution_and_a_line(self):
        report = check_mix(mix(limited(wind={"maximum": q("8", "mph")}), weather=None))

        assert "label.wind-unknown" in ids(report)
        assert gaps(report).count("weather.wind") == 1

    def test_other_missing_fields_are_only_listed_once_each_in_the_order_of_the_request(self):
        one = limited(rate={"maximum": q("2", "fl_oz/gal")})
        bare = {"crop": "peach", "sprayer": {"kind": "backpack"}, "products": [one]}

        report = check_mix(bare)

        assert gaps(report) == [
            "stage",
            "region",
            "targets",
            "season",
            "at",
            "sprayer.tank",
            "sprayer.residue",
            "sprayer.materials",
            "water.ph",
            "water.hardness",
            "water.temperature",
            "spray",
            "weather.wind",
            "weather.temperature",
            "weather.minimum_next_24h",
            "weather.humidity_percent",
            "weather.rain_within_h",
            "weather.inversion",
            "history",
            "measures",
        ]


class TestTheSameProduct:
    def test_it_is_the_same_registration_whatever_the_name(self):
        one = limited(maximum_applications=1)
        renamed = label("New name", registration=one["label"]["registration"])

        assert "label.number" in ids(check_mix(mix(one, history=[sprayed("2027-01-01", label=renamed)])))

    def test_it_is_the_same_name_where_there_is_no_registration(self):
        one = product(registration=None, uses=[use(maximum_applications=1)])

        assert "label.number" in ids(check_mix(mix(one, history=[sprayed("2027-01-01", one)])))

    def test_every_product_with_the_substance_counts_for_the_year(self):
        cap = [{"of": "copper", "amount": q("1", "lb/acre")}]
        one = copper(q("2", "lb/acre"), uses=[use(maximum_per_year=cap)])
        other = label("Other copper 50 WP", formulation="WP", active_ingredients=COPPER)
        past = sprayed("2027-01-01", label=other, rate=q("2", "lb/acre"))

        report = check_mix(mix(one, history=[past]))

        (line,) = [
            line for line in report["year"] if line["of"] == "copper" and line["maximum"] == cap[0]["amount"]
        ]
        assert line["used"] == q("0.7", "lb/acre")
        assert line["after"] == q("1.4", "lb/acre")
        assert "label.yearly" in by_label(report)

    def test_a_year_without_a_maximum_is_in_kg_per_hectare(self):
        report = check_mix(mix(copper(q("1", "kg/ha")), region=None))

        assert report["year"][0]["after"] == q("0.35", "kg/ha")
        assert report["year"][0]["maximum"] is None

    def test_residue_counts_as_a_partner_one_severity_lower(self):
        forbids = product(mixing={"do_not_mix_with": [{"what": "lime sulfur"}]})
        sprayer = {**mix()["sprayer"], "residue": ["lime sulfur"]}

        report = check_mix(mix(forbids, sprayer=sprayer))

        assert finding(report, "label.do-not-mix")["severity"] == "caution"
        assert len(report["cleaning"]) > len(check_mix(mix(forbids))["cleaning"])


class TestFindings:
    def test_they_are_sorted_by_severity_id_and_products(self):
        rank = {"stop": 0, "caution": 1, "note": 2}
        windy = {**mix()["weather"], "wind": q("20", "mph")}

        report = check_mix(mix(copper(), product("a"), product("b", name="Zolanide 10 EC"), weather=windy))

        places = {"cu": 0, "a": 1, "b": 2}
        keys = [
            (rank[one["severity"]], one["id"], sorted(places[id] for id in one["products"]))
            for one in report["findings"]
        ]
        assert keys == sorted(keys)

    def test_there_is_one_for_each_id_and_set_of_products(self):
        report = check_mix(mix(copper(), product("a"), product("b", name="Zolanide 10 EC")))

        seen = [(one["id"], frozenset(one["products"])) for one in report["findings"]]
        assert len(seen) == len(set(seen))

    def test_each_names_a_source_or_says_practice(self):
        windy = {**mix()["weather"], "wind": q("20", "mph")}

        report = check_mix(mix(copper(), product("a"), limited() | {"id": "b"}, weather=windy))

        for one in report["findings"]:
            assert one["source"] or one["basis"] in ("practice", "untested"), one["id"]
            assert one["says"] and one["do"]

    def test_the_verdict_is_the_worst_of_them(self):
        assert check_mix(mix())["verdict"] == "ok"
        assert check_mix(mix(crop="apple"))["verdict"] == "stop"


class TestOrderAndJar:
    def test_it_starts_with_half_the_tank(self):
        first = check_mix(mix())["order"][0]

        assert (first["action"], first["what"], first["amount"]) == ("fill", "water", q("2", "gal"))

    def test_or_with_the_labels_share(self):
        first = check_mix(mix(product(mixing={"order": {"fill_percent": "75"}})))["order"][0]

        assert first["amount"] == q("3", "gal")

    def test_amounts_are_those_of_the_first_load(self):
        (adding,) = [step for step in check_mix(mix())["order"] if step["action"] == "add"]

        assert (adding["product"], adding["amount"]) == ("a", q("4", "fl_oz"))

    def test_what_a_label_says_of_order_goes_first(self):
        oil = product(
            "o", name="Mineral oil 98 EC", formulation="EC", mixing={"order": {"before": ["pyrafenol"]}}
        )

        steps = [step["product"] for step in check_mix(mix(product("a"), oil))["order"] if "product" in step]

        assert steps == ["o", "a"]

    def test_the_jar_amounts_are_always_given_and_exact(self):
        jar = check_mix(mix(powder("cu", q("1.5", "tbsp/gal"))))["jar_test"]

        assert jar["needed"] is False
        assert jar["water"] == q("1", "qt")
        assert jar["amounts"] == [{"id": "cu", "amount": q("1.125", "tsp")}]

    def test_a_pair_that_nobody_speaks_of_needs_the_jar(self):
        report = check_mix(mix(product("a"), product("b", name="Zolanide 10 SC")))

        assert report["verdict"] == "caution"
        assert report["jar_test"]["needed"] is True


def test_a_region_without_rules_of_its_own_is_said_to_have_none():
    assert "region" in gaps(check_mix(mix(region="NZ")))


def test_the_report_has_every_field_in_its_order():
    report = check_mix(mix())

    assert list(report) == [
        "verdict", "findings", "not_checked", "order", "loads", "totals", "dial", "year", "protection",
        "re_entry", "harvest", "jar_test", "cleaning", "cautions", "rules",
    ]  # fmt: skip
    assert report["rules"]["count"] > 100
    assert len(report["rules"]["version"]) == 16
