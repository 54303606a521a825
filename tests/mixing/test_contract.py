"""What an adviser reads in a report: figures that can be checked, plain words, and no false alarm."""

import re

import pytest

from mixing import MixRequestError, check_mix
from tests.mixing.mixes import gaps, ids, mix, powder, product, q, use
from tests.mixing.test_meanings import copper, finding, limited, sprayed

A_PATH = re.compile(r"\b(?:weather|water|spray|label|history|stage|sprayer)\.[a-z0-9_]+")


def ingredient(name, **more):
    return [{"name": name, "content": q("80", "percent_ww"), **more}]


def captan(**changes):
    return powder(
        "captan",
        q("2", "lb/acre"),
        name="Captan 80 WG",
        formulation="WG",
        active_ingredients=ingredient("captan"),
        **changes,
    )


def texts(report):
    return [one[part] or "" for one in report["findings"] for part in ("says", "why", "do")]


class TestTheFiguresOfALimit:
    @pytest.mark.parametrize("language", ["en", "es"])
    @pytest.mark.parametrize(
        ("rate", "maximum", "spray", "says"),
        [
            (  # 1.2 oz x 189 gal = 226.8 oz = 14.175 lb on the acre
                q("1.2", "oz_wt/gal"),
                q("12", "lb/acre"),
                {"area": q("1", "acre"), "volume_per_area": q("189", "gal/acre")},
                ("1.2 oz_wt/gal (14.175 lb/acre)", "12 lb/acre"),
            ),
            (q("0.8", "oz_wt/gal"), q("4", "lb/100gal"), {"total": q("10", "gal")},
             ("(5 lb/100gal)", "4 lb/100gal")),
            (q("3", "oz_wt/tree"), q("2", "lb/100gal"), {"trees": 10, "volume_per_tree": q("4", "gal")},
             ("3 oz_wt/tree (4.688 lb/100gal)", "2 lb/100gal")),
        ],
    )  # fmt: skip
    def test_a_rate_past_the_label_stands_beside_the_maximum_in_its_unit(
        self, rate, maximum, spray, says, language
    ):
        one = powder(rate=rate, uses=[use(rate={"maximum": maximum})])
        said = finding(check_mix(mix(one, spray=spray), language=language), "label.rate-above-maximum")[
            "says"
        ]

        assert all(figure in said for figure in says)

    def test_a_rate_in_the_unit_of_the_label_is_said_once(self):
        one = powder(rate=q("2", "oz_wt/gal"), uses=[use(rate={"maximum": q("1", "oz_wt/gal")})])
        said = finding(check_mix(mix(one)), "label.rate-above-maximum")["says"]

        assert "2 oz_wt/gal is above" in said

    def test_a_dose_just_past_the_maximum_does_not_read_like_it(self):
        one = product(rate=q("1.0000001", "fl_oz/gal"), uses=[use(rate={"maximum": q("2", "tbsp/gal")})])
        said = finding(check_mix(mix(one)), "label.rate-above-maximum")["says"]

        assert "(2.0000002 tbsp/gal)" in said

    def test_a_rate_in_ppm_is_held_to_a_minimum_by_weight(self):
        one = powder(
            rate=q("100", "ppm"),
            active_ingredients=[{"name": "dustol", "content": q("50", "percent_ww")}],
            uses=[use(rate={"minimum": q("0.5", "g/L")})],
        )  # 100 mg/L of active is 0.2 g of product in a litre
        said = finding(check_mix(mix(one)), "label.rate-below-minimum")["says"]

        assert "(0.2 g/L)" in said

    def test_a_converted_limit_is_rounded_for_the_reader(self):
        weather = {"wind": q("9.9", "mph")}
        said = finding(check_mix(mix(weather=weather)), "weather.wind-above-15-km-h")["says"]

        assert "9.3 mph" in said  # 15 km/h = 9.3206 mph

    def test_degrees_and_per_cent_are_written_as_people_write_them(self):
        one = limited(temperature={"maximum": q("20", "degC")}, rate={"maximum": q("0.5", "percent_vv")})
        report = check_mix(mix(one, weather={"temperature": q("21", "degC")}))

        said = " ".join(texts(report))
        assert "21 °C" in said and "0.5 %" in said
        assert "degC" not in said and "percent_vv" not in said

    def test_a_line_of_the_year_names_the_registration_of_its_label(self):
        one = copper(uses=[use(maximum_per_year=[{"of": "copper", "amount": q("18", "lb/acre")}])])
        (line,) = check_mix(mix(one))["year"]

        assert line["source"]["where"] == one["label"]["registration"]


class TestPlainWords:
    @pytest.mark.parametrize("language", ["en", "es"])
    def test_what_is_missing_is_never_named_by_its_path(self, language):
        row = use(
            rate={"maximum": q("4", "lb/acre")}, stages=[{"from": 93, "to": 57}], interval=q("7", "d"),
            wind={"maximum": q("8", "mph")}, rain_free=q("12", "h"), temperature={"maximum": q("30", "degC")},
            maximum_per_year=[{"of": "copper", "amount": q("18", "lb/acre")}],
        )  # fmt: skip
        one = copper(rate=q("1", "tbsp/gal"), bulk_density=None, uses=[row],
                     mixing={"water_ph": {"minimum": "6", "maximum": "9"}})  # fmt: skip
        before = [{"on": "2026-12-01", "label": one["label"]}]
        nothing = {"stage": None, "weather": None, "water": None, "history": None}
        for missing in (nothing, {"spray": None}, {"at": None}, {"history": before}):
            report = check_mix(mix(one, **missing), language=language)
            assert any(id.endswith("-unknown") for id in ids(report))
            assert [text for text in texts(report) if A_PATH.search(text)] == []

    def test_an_amount_that_lacks_only_the_tank_does_not_blame_the_spray(self):
        sprayer = {"kind": "backpack", "tank": None}

        assert "size of the tank" in check_mix(mix(sprayer=sprayer))["order"][0]["note"]

    def test_numbers_are_not_written_as_3th(self):
        myclobutanil = product(
            active_ingredients=ingredient("myclobutanil"), mode_of_action=[{"scheme": "FRAC", "code": "3"}]
        )
        past = [sprayed(on, myclobutanil) for on in ("2027-01-01", "2027-01-10")]
        report = check_mix(mix(myclobutanil, history=past))

        assert any("3 times" in text for text in texts(report))
        assert not any("3th" in text for text in texts(report))

    def test_a_residue_is_washed_out_not_left_out(self):
        sprayer = {"kind": "backpack", "tank": q("4", "gal"), "residue": ["mineral oil"]}
        found = finding(check_mix(mix(captan(), sprayer=sprayer)), "pair.oil-with-captan")

        assert found["severity"] == "caution"
        assert "traces of mineral oil" in found["why"]
        assert found["do"].startswith("Wash the sprayer out")

    def test_a_partner_in_the_tank_is_left_out(self):
        oil = product("oil", formulation="EC", active_ingredients=ingredient("mineral oil"))
        found = finding(check_mix(mix(captan(), oil)), "pair.oil-with-captan")

        assert found["do"].startswith("Leave one out")


class TestOneWarningForOneThing:
    def test_oil_with_captan_is_said_once(self):
        oil = product("oil", formulation="EC", active_ingredients=ingredient("mineral oil"))
        pairs = [id for id in ids(check_mix(mix(captan(), oil))) if id.startswith("pair.")]

        assert pairs == ["pair.oil-with-captan"]

    def test_an_emulsion_without_oil_still_speaks_against_captan(self):
        other = product("b", formulation="EC", active_ingredients=ingredient("zolanide"))

        assert "pair.emulsion-with-captan" in ids(check_mix(mix(captan(), other)))

    def test_calcium_with_captan_or_copper_is_said_once(self):
        calcium = powder(
            "ca", formulation="SG", adjuvant="nutrient", active_ingredients=ingredient("calcium chloride")
        )
        for other, id in (
            (captan(), "pair.calcium-chloride-with-captan"),
            (copper(), "pair.copper-with-calcium"),
        ):
            pairs = [one for one in ids(check_mix(mix(other, calcium))) if one.startswith("pair.")]
            assert pairs == [id]

    def test_a_labels_own_interval_is_not_repeated_by_a_publication(self):
        one = copper(uses=[use(interval=q("7", "d"))])
        report = check_mix(mix(one, history=[sprayed("2027-01-15", one)]))

        assert "label.interval" in ids(report)
        assert not any(id.startswith("interval.") for id in ids(report))

    def test_a_publication_speaks_of_another_copper_than_the_labels_own(self):
        one, other = copper(uses=[use(interval=q("7", "d"))]), copper(registration="demo-other")
        report = check_mix(mix(one, history=[sprayed("2027-01-15", other)]))

        assert "interval.copper-again-dormant" in ids(report)

    def test_rain_after_copper_is_said_once(self):
        rain = {"rain_within_h": "10"}
        found = [id for id in ids(check_mix(mix(copper(), weather=rain))) if "rain" in id]

        assert found == ["weather.rain-after-copper"]

    def test_rain_is_said_for_each_product_of_a_tank_in_its_own_words(self):
        report = check_mix(mix(copper(), product(), weather={"rain_within_h": "10"}))

        assert finding(report, "weather.rain-after-copper")["products"] == ["cu"]
        assert finding(report, "weather.rain-within-24-h")["products"] == ["a"]

    def test_captan_with_lime_is_said_once(self):
        lime = powder("li", active_ingredients=ingredient("calcium hydroxide"))
        stops = [one["id"] for one in check_mix(mix(captan(), lime))["findings"] if one["severity"] == "stop"]

        assert len(stops) == 1

    @pytest.mark.parametrize("said", [{"allowed": ["surfactant"]}, {"required": ["surfactant"]}])
    def test_an_adjuvant_that_the_label_asks_for_or_allows_is_not_untested(self, said):
        wetter = product("w", adjuvant="surfactant", active_ingredients=ingredient("zolanide"))
        report = check_mix(mix(product(mixing={"adjuvants": said}), wetter))

        assert "label.may-mix" in ids(report)
        assert "pair.untested" not in ids(report)

    def test_a_label_that_forbids_the_pair_goes_before_one_that_asks_for_its_adjuvant(self):
        wetter = product(
            "w", adjuvant="surfactant", active_ingredients=ingredient("zolanide"),
            mixing={"do_not_mix_with": [{"what": "pyrafenol"}]},
        )  # fmt: skip
        report = check_mix(mix(product(mixing={"adjuvants": {"required": ["surfactant"]}}), wetter))

        assert "label.do-not-mix" in ids(report)
        assert "label.may-mix" not in ids(report)

    def test_advice_for_the_winter_is_not_given_in_summer(self):
        summer = check_mix(mix(stage={"bbch": 75, "observed_on": "2027-01-20"}))["cautions"]

        assert any("two sprays in a winter" in line for line in check_mix(mix())["cautions"])
        assert not any("two sprays in a winter" in line for line in summer)

    def test_bees_come_right_after_the_law_when_trees_flower(self):
        flowering = check_mix(mix(stage={"bbch": 65, "observed_on": "2027-01-20"}))["cautions"]

        assert flowering[0].startswith("The label is the law.")
        assert "bees" in flowering[1]


class TestTheTreesAndTheBees:
    @pytest.mark.parametrize(
        ("bbch", "severity"), [(60, "stop"), (67, "stop"), (68, "stop"), (69, "caution"), (71, None)]
    )
    def test_what_kills_bees_waits_until_all_petals_are_down(self, bbch, severity):
        phosmet = powder("ph", active_ingredients=ingredient("phosmet"))
        report = check_mix(mix(phosmet, stage={"bbch": bbch, "observed_on": "2027-01-20"}))
        bees = [one["severity"] for one in report["findings"] if "bee-hazard" in one["id"]]

        assert bees == ([severity] if severity else [])

    @pytest.mark.parametrize(
        ("crop", "bbch", "id"),
        [
            ("cherry", 65, "stage.copper-sweet-cherry-open-flowers"),
            ("sweet cherry", 65, "stage.copper-sweet-cherry-open-flowers"),
            ("cherry", 73, "stage.copper-after-full-bloom"),
            ("sour cherry", 73, "stage.copper-sour-cherry-after-bloom"),
        ],
    )
    def test_a_cherry_not_said_to_be_sour_counts_as_sweet(self, crop, bbch, id):
        one = copper(uses=[{"crops": [crop]}])
        report = check_mix(mix(one, crop=crop, stage={"bbch": bbch, "observed_on": "2027-01-20"}))
        about_copper = {one for one in ids(report) if one.startswith("stage.copper")}

        assert id in about_copper
        assert (crop == "sour cherry") == ("stage.copper-sour-cherry-after-bloom" in about_copper)

    def test_nothing_is_sprayed_below_freezing_without_a_word(self):
        frost = {"temperature": q("-1", "degC"), "minimum_next_24h": q("-4", "degC")}

        assert finding(check_mix(mix(weather=frost)), "weather.below-freezing")["severity"] == "caution"


class TestWhatIsMissingForADose:
    def test_a_powder_by_the_spoon_is_no_alarm(self):
        report = check_mix(mix(powder(rate=q("1.5", "tbsp/gal"), bulk_density=None)))
        found = finding(report, "dose.cannot-be-turned")

        assert found["severity"] == "note"
        assert report["verdict"] == "ok"
        assert gaps(report).count("label.density:p") == 1

    def test_it_is_one_where_a_limit_of_the_label_wants_the_density(self):
        one = powder(
            rate=q("1.5", "tbsp/gal"), bulk_density=None, uses=[use(rate={"maximum": q("4", "lb/acre")})]
        )
        report = check_mix(mix(one))

        assert finding(report, "label.density-unknown")["severity"] == "caution"
        assert [gap for gap in gaps(report) if "density" in gap] == ["label.density:p"]

    def test_a_dose_below_the_smallest_mark_is_said_as_such(self):
        report = check_mix(mix(product(rate=q("0.03", "tsp/gal")), measures=["tbsp"]))

        assert report["loads"][0]["products"][0]["measure"] == []
        assert "dose.below-smallest-mark" in ids(report)
        assert "dose.measuring-error" not in ids(report)

    def test_the_fields_of_a_label_are_missed_in_the_order_of_a_label(self):
        one = {"id": "a", "rate": q("1", "fl_oz/gal"),
               "label": {"name": "A", "registration": "demo-a", "uses": [use()]}}  # fmt: skip
        missed = [gap for gap in gaps(check_mix(mix(one))) if gap.startswith("label.")]

        names = ("active_ingredients", "formulation", "signal_word", "protection", "rate", "re_entry")
        assert missed == [f"label.{name}:a" for name in (*names, "pre_harvest")]


def test_a_jar_is_dosed_in_grams_and_millilitres_not_in_parts_of_a_kilogram():
    spray = {"area": q("1", "ha"), "volume_per_area": q("500", "L/ha")}
    sprayer = {"kind": "airblast", "tank": q("500", "L")}
    tank = mix(powder(rate=q("4", "kg/ha")), product(rate=q("2", "L/ha")), spray=spray, sprayer=sprayer)

    amounts = {one["id"]: one["amount"] for one in check_mix(tank)["jar_test"]["amounts"]}

    assert amounts == {"p": q("8", "g"), "a": q("4", "mL")}  # 4 kg in 500 L is 8 g in 1 L


def faults(request):
    with pytest.raises(MixRequestError) as refused:
        check_mix(request)
    return {one["pointer"]: one["detail"] for one in refused.value.errors}


class TestHintsOfARefusal:
    @pytest.mark.parametrize(
        ("unit", "meant"), [("lb/A", "lb/acre"), ("lb/ac", "lb/acre"), ("mL/plant", "mL/tree")]
    )
    def test_short_names_of_the_trade_point_at_the_right_unit(self, unit, meant):
        detail = faults(mix(product(rate=q("1", unit))))["/products/0/rate/unit"]

        assert detail.endswith(f"did you mean {meant}?")

    @pytest.mark.parametrize(("letters", "code"), [("DF", "WG"), ("WDG", "WG"), ("F", "SC"), ("E", "EC")])
    def test_letters_of_american_labels_point_at_the_international_code(self, letters, code):
        detail = faults(mix(product(formulation=letters)))["/products/0/label/formulation"]

        assert detail.endswith(f"did you mean {code}?")

    @pytest.mark.parametrize(
        ("written", "meant"),
        [
            ("wettable powder", "WP"),
            ("Emulsifiable conc.", "EC or GL"),
            ("50WP", "WP"),
            ("80 WDG", "WG"),
            ("ECC", "EC"),
            ("wg", "WG"),
            ("wp/", "WP"),
            ("PW", "WP or EW"),
            ("WQ", "WP or WG"),
        ],
    )
    def test_a_code_that_is_none_is_answered_with_the_nearest(self, written, meant):
        detail = faults(mix(product(formulation=written)))["/products/0/label/formulation"]

        assert detail.endswith(f"did you mean {meant}?")

    @pytest.mark.parametrize("written", ["QQ", "7", "?", "x" * 300])
    def test_a_code_like_no_other_is_answered_with_the_usual_ones_not_with_all(self, written):
        detail = faults(mix(product(formulation=written)))["/products/0/label/formulation"]

        assert "WP, WG, SP, SG, SC, SE, EC, EW, OD, SL" in detail and "KK" not in detail

    @pytest.mark.parametrize(
        ("region", "meant"), [("us-ca", "US-CA"), ("USA", "US"), ("us_or", "US-OR"), ("Italy", "IT")]
    )
    def test_a_country_or_state_in_other_letters_points_at_its_code(self, region, meant):
        detail = faults(mix(product(), region=region))["/region"]

        assert detail.endswith(f"did you mean {meant}?")

    @pytest.mark.parametrize(("kind", "meant"), [("knapsack", "backpack"), ("Air-blast", "airblast")])
    def test_a_sprayer_by_another_name_points_at_its_kind(self, kind, meant):
        detail = faults(mix(product(), sprayer={"kind": kind}))["/sprayer/kind"]

        assert detail.endswith(f"did you mean {meant}?")

    @pytest.mark.parametrize(
        ("kind", "meant"),
        [("spreader", "surfactant"), ("Defoamer", "antifoam"), ("buffer", "water_conditioner")],
    )
    def test_an_adjuvant_by_another_name_points_at_its_kind(self, kind, meant):
        told = faults(mix(product(adjuvant=kind, mixing={"adjuvants": {"forbidden": [kind]}})))

        assert told["/products/0/label/adjuvant"].endswith(f"did you mean {meant}?")
        assert told["/products/0/label/mixing/adjuvants/forbidden/0"].endswith(f"did you mean {meant}?")

    def test_an_amount_is_no_rate_and_the_sentence_shows_one(self):
        detail = faults(mix(product(rate=q("1", "tbsp"))))["/products/0/rate/unit"]

        assert "such as 1.5 tbsp/gal" in detail and "volume/volume" not in detail

    @pytest.mark.parametrize("number", [1.5, 2, True, [1]])
    def test_no_sentence_names_a_type_of_the_program(self, number):
        detail = faults(mix(product(rate={"value": number, "unit": "tbsp/gal"})))["/products/0/rate/value"]

        assert not re.search(r"\b(int|float|bool|dict)$", detail)

    @pytest.mark.parametrize("sign", ["\x00", "\n", "\ud800", "\x7f"])
    def test_a_text_that_cannot_be_stored_or_sent_is_refused(self, sign):
        request = mix(product(function=[f"fungi{sign}cide"]), crop=f"pea{sign}ch")

        assert set(faults(request)) == {"/crop", "/products/0/label/function/0"}

    def test_letters_of_any_language_are_taken(self):
        assert check_mix(mix(product(name="Azufre mojable\u00a0niño 果樹")))["verdict"] == "ok"

    def test_a_lowest_ph_above_the_highest_is_refused(self):
        one = product(mixing={"water_ph": {"minimum": "9", "maximum": "5"}})

        assert "/products/0/label/mixing/water_ph/minimum" in faults(mix(one))


class TestALimitPerAreaStandsBesideOnePerVolume:
    """Two rows of one use: the second opens no stage that the first closes."""

    ROWS = [
        {
            "crops": ["peach"],
            "rate": {"maximum": q("1.6", "oz_wt/gal")},
            "stages": [{"from": 93, "to": 53}],
            "re_entry": q("48", "h"),
        },
        {"crops": ["peach"], "rate": {"maximum": q("12", "lb/acre")}},
    ]

    def found(self, bbch, rows=ROWS):
        label = product(rate=q("1", "oz_wt/gal"), formulation="WG", uses=rows)
        tank = mix(label, crop="peach", targets=[], stage={"bbch": bbch, "observed_on": "2027-01-20"})
        return {finding["id"] for finding in check_mix(tank)["findings"] if finding["severity"] == "stop"}

    def test_past_the_window_it_is_a_stop(self):
        assert "label.stage" in self.found(57)

    def test_within_the_window_it_is_none(self):
        assert "label.stage" not in self.found(97)

    def test_a_second_use_with_a_rate_of_its_own_stays_open(self):
        low = {"crops": ["peach"], "rate": {"maximum": q("2", "oz_wt/gal")}}

        assert "label.stage" not in self.found(57, rows=[self.ROWS[0], low])
