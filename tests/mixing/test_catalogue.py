"""Every sentence in English and Spanish, with the same parameters."""

from __future__ import annotations

import re

import pytest

from mixing import catalogue, chemistry, protection, rulebook, sequence
from mixing.catalogue.catalogue import UnknownText, _texts, _words, parameters_of

NUMBER = re.compile(r"\d+(?:[.,]\d+)?")
UNITS = re.compile(
    r"\b\d+(?:\.\d+)? (?:gal|fl_oz|tbsp|tsp|mL|L|ft|mph|km/h|h|min|lb|oz_wt|qt|degF|degC|ppm)\b"
)
ENGLISH = re.compile(r"\b(?:the|and|with|water|spray|do not|label|before|after)\b", re.IGNORECASE)


def test_spanish_has_every_text_and_no_other():
    missing = sorted(set(_texts("en")) - set(_texts("es")))
    left_over = sorted(set(_texts("es")) - set(_texts("en")))

    assert (missing, left_over) == ([], [])


def test_both_languages_name_the_same_parameters():
    spanish = _texts("es")
    unlike = {
        id: (sorted(names), sorted(spanish[id][1]))
        for id, (_, names) in _texts("en").items()
        if id in spanish and names != spanish[id][1]
    }

    assert unlike == {}


def test_numbers_with_units_are_the_same_in_both_languages():
    spanish = _texts("es")
    unlike = {
        id: (sorted(UNITS.findall(text)), sorted(UNITS.findall(spanish[id][0])))
        for id, (text, _) in _texts("en").items()
        if id in spanish and sorted(UNITS.findall(text)) != sorted(UNITS.findall(spanish[id][0]))
    }

    assert unlike == {}


def test_every_figure_is_the_same_in_both_languages():
    spanish = _texts("es")
    unlike = {
        id: (NUMBER.findall(text), NUMBER.findall(spanish[id][0]))
        for id, (text, _) in _texts("en").items()
        if id in spanish and sorted(NUMBER.findall(text)) != sorted(NUMBER.findall(spanish[id][0]))
    }

    assert unlike == {}


def test_no_spanish_text_was_left_in_english():
    spanish = {id: re.sub(r"\{\w+\}", "", text) for id, (text, _) in _texts("es").items()}

    assert {id: text for id, text in spanish.items() if len(ENGLISH.findall(text)) > 1} == {}


def test_parameters_are_filled_in():
    said = catalogue.render("rules.protection.not-stated.says", {"product": "Alpha 50 WG"}, "es")

    assert said.startswith("La etiqueta de Alpha 50 WG,")


def test_crops_metals_and_kinds_in_a_sentence_are_put_into_its_language():
    said = catalogue.render(
        "rules.tank.copper-in-metal.says", {"product": "Steel 5 WG", "value": "brass, steel"}, "es"
    )

    assert said == "Steel 5 WG: el cobre se come esto: latón, acero."


def test_a_word_that_nobody_has_translated_is_left_as_it_was_said():
    said = catalogue.render("rules.label.crop.says", {"product": "A", "crop": "pawpaw"}, "es")

    assert said == "A: la etiqueta no nombra pawpaw."


def test_every_crop_metal_and_adjuvant_that_rules_name_has_a_spanish_word():
    rules = rulebook.load().rules()
    metals = {name for rule in rules for name in rule.when.materials or ()}
    counted = {rule.when.of for rule in rules if rule.when.of}
    targets = {name for rule in rules for name in rule.when.targets or ()}

    named = chemistry.known_crops() | metals | counted | targets | chemistry.ADJUVANTS
    assert sorted(named - _words("es").keys()) == []


def test_braces_in_a_parameter_are_left_alone():
    said = catalogue.render("rules.protection.not-stated.says", {"product": "{0} {a.b}"})

    assert "{0} {a.b}" in said


def test_a_missing_parameter_is_an_error_and_not_a_gap():
    with pytest.raises(KeyError):
        catalogue.render("rules.protection.not-stated.says")


def test_an_unknown_text_or_language_is_an_error():
    with pytest.raises(UnknownText, match="no text"):
        catalogue.render("order.note.sing")
    with pytest.raises(UnknownText, match="no language"):
        catalogue.render("order.note.fill", language="fr")


def test_words_for_codes_fall_back_to_the_code():
    assert catalogue.word("gear", "long_sleeves", "es") == "camisa de manga larga"
    assert catalogue.word("gear", "hi_vis_vest", "es") == "hi vis vest"


def test_every_item_of_protection_and_signal_word_has_a_name():
    for language in catalogue.LANGUAGES:
        assert all(catalogue.has(f"gear.{code}", language) for code in protection._gear())
        assert all(catalogue.has(f"signal_word.{word}", language) for word in protection._signal_words())


def test_every_place_of_the_mixing_order_has_a_note():
    for place in sequence.profiles()[sequence.default_profile()].ranks:
        if place in sequence.OWN_PLACE or place in ("packet", "unknown"):
            assert catalogue.has(f"order.note.add_{place}")


def test_names_in_braces_are_plain_words():
    for text, _ in _texts("en").values():
        assert all(name.isidentifier() for name in parameters_of(text))
