"""The loader reports every fault of every file at once, and refuses what could mislead or never speak."""

from __future__ import annotations

from pathlib import Path

import pytest

from mixing import rulebook
from mixing.rulebook import Rulebook, RulebookFaults
from mixing.rulebook.loader import read_folder
from tests.mixing import casebook

HEAD = """
schema = 1
reviewed = 2026-11-25

[sources.guide]
title = "A guide"
publisher = "An extension service"
year = 2019
kind = "extension"
where = "page 3"
seen = 2026-11-25
"""
ROW = {
    "id": '"pair.oil-with-captan"',
    "when": '{ pair = ["oil", "captan"] }',
    "severity": '"stop"',
    "basis": '"published"',
    "source": '"guide"',
    "locator": '"table 2"',
    "says": '"Not together."',
    "do": '"Leave one out."',
}


def row(**changes: str | None) -> str:
    """Return a row of a pair table as TOML; None leaves a key out."""
    made = {**ROW, **changes}
    return "\n[[rule]]\n" + "".join(f"{key} = {value}\n" for key, value in made.items() if value is not None)


def faults(folder: Path, **tables: str) -> str:
    """Return what the loader says against these tables."""
    for name, text in tables.items():
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    with pytest.raises(RulebookFaults) as caught:
        read_folder(folder)
    return str(caught.value)


def load(folder: Path, **tables: str) -> Rulebook:
    for name, text in tables.items():
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    return Rulebook(read_folder(folder))


def test_the_tables_of_the_product_load_without_a_fault():
    rules = rulebook.load()

    assert rules.count >= 150
    assert len(rules.version) == 16


def test_a_good_table_is_taken(tmp_path: Path):
    rules = load(tmp_path, compatibility=HEAD + row())

    assert rules.rule("pair.oil-with-captan").severity.word == "stop"
    assert rules.sources["guide"].year == 2019


def test_every_fault_of_every_file_is_reported_at_once(tmp_path: Path):
    said = faults(
        tmp_path,
        compatibility=HEAD + row(says=None, severity='"perhaps"') + row(id='"pair.other"', source='"nobody"'),
        water="schema = 2\n",
    )

    for wanted in (
        "says is missing",
        "severity is stop",
        "'nobody' is not among",
        "water.toml: schema must be 1",
    ):
        assert wanted in said
    assert said.count("\n") >= 4


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"basis": '"practice"', "source": None, "locator": None}, "a stop may not rest on practice"),
        ({"memory": "true"}, "a stop may not rest on memory"),
        ({"locator": None}, "locator is missing"),
        ({"basis": '"label"'}, "basis is one of practice, published, regulation"),
        ({"id": '"Pair of oil"'}, "id is lower case"),
        ({"colour": '"red"'}, "there is no key 'colour'"),
        ({"when": '{ pair = ["oil", "captan"], moon = "full" }'}, "has no such key"),
        ({"when": '{ crops = ["peach"] }'}, "when.pair is missing"),
        ({"when": '{ pair = ["oil", "kaptan"] }'}, "there is no group 'kaptan': the row would never fire"),
        ({"when": '{ pair = ["oil"] }'}, "a pair is two names"),
        ({"when": '{ pair = ["oil", "captan"], crops = ["peech"] }'}, "there is no crop 'peech'"),
        ({"when": '{ pair = ["oil", "captan"], stages = ["5-53"] }'}, "a window is written"),
        ({"when": '{ pair = ["oil", "captan"], stages = [] }'}, "with at least one in it"),
        ({"when": '{ pair = ["oil", "captan"], regions = ["Utah"] }'}, "is not a region"),
        ({"when": '{ pair = ["oil", "captan"], inversion = false }'}, "only true can be asked for"),
        (
            {"when": '{ pair = ["oil", "captan"], crops = ["peach"], not_crops = ["peach"] }'},
            "peach is asked for and shut out: the row would never fire",
        ),
        ({"says": '"Not with {partner}."'}, "{partner} is not one of first, others, second"),
    ],
)
def test_a_row_that_could_mislead_is_refused(tmp_path: Path, changes: dict[str, str | None], said: str):
    assert said in faults(tmp_path, compatibility=HEAD + row(**changes))


@pytest.mark.parametrize(
    ("when", "said"),
    [
        ('{ wind_above = "10 mph", wind_below = "3 mph" }', "when.wind_above is not below when.wind_below"),
        ('{ wind_above = "400 mph" }', "the row would never fire or always"),
        ('{ wind_above = "10" }', "there is no unit ''"),
        ('{ wind_above = "10 gal" }', "length/time is wanted here"),
        ('{ temperature_above = "ten degC" }', "not a plain decimal"),
        ('{ humidity_above = "100" }', "lies outside 0 to 100"),
        ('{ unless_label = "wind" }', "when needs one of"),
        ('{ wind_above = "10 mph", unless_label = "moon" }', "'moon' is not one of"),
    ],
)
def test_a_bound_that_can_never_be_met_is_refused(tmp_path: Path, when: str, said: str):
    assert said in faults(tmp_path, weather=HEAD + row(id='"weather.x"', when=when))


def test_twin_ids_are_refused_across_tables(tmp_path: Path):
    other = row(when='{ ph_above = "8" }')

    assert "compatibility.toml has that id too" in faults(
        tmp_path, compatibility=HEAD + row(), water=HEAD + other
    )


def test_a_source_that_contradicts_itself_is_refused(tmp_path: Path):
    other = row(id='"pair.again"', severity='"caution"')

    assert "contradict each other: same case, same source" in faults(
        tmp_path, compatibility=HEAD + row() + other
    )


def test_rivals_must_say_what_they_are_about(tmp_path: Path):
    second = HEAD.replace("sources.guide", "sources.other") + ""
    both = HEAD + second.partition("reviewed = 2026-11-25")[2]
    rival = row(id='"pair.rival"', source='"other"', severity='"caution"')

    assert "give both the same `about`" in faults(tmp_path, compatibility=both + row() + rival)

    about = '"oil-with-captan"'
    rules = load(
        tmp_path,
        compatibility=both
        + row(about=about)
        + row(id='"pair.rival"', source='"other"', severity='"caution"', about=about),
    )
    assert rules.count == 2


def test_a_source_that_no_rule_points_at_is_refused(tmp_path: Path):
    said = faults(
        tmp_path, compatibility=HEAD + row(source=None, locator=None, basis='"practice"', severity='"note"')
    )

    assert "sources.guide: no rule points at it" in said


def test_a_retired_row_keeps_its_id_and_is_silent(tmp_path: Path):
    rules = load(tmp_path, compatibility=HEAD + row(retired="true"))

    assert rules.count == 0
    assert rules.rule("pair.oil-with-captan").retired
    assert rules.rules("compatibility") == ()


def test_a_file_that_is_no_toml_is_named(tmp_path: Path):
    assert "water.toml: cannot be read as TOML" in faults(
        tmp_path, water="[[rule", compatibility=HEAD + row()
    )


def test_any_change_of_any_table_changes_the_version(tmp_path: Path):
    first = load(tmp_path, compatibility=HEAD + row()).version
    again = load(tmp_path, compatibility=HEAD + row()).version
    changed = load(tmp_path, compatibility=HEAD + row(do='"Leave both out."')).version

    assert first == again != changed


def test_no_rule_names_a_text_that_its_finding_does_not_fill():
    """The loader checks braces against the parameters of each table; this holds the lists to the code."""
    rules = rulebook.load()
    for case in casebook.cases():
        for finding in casebook.findings(case.fires, rules):
            if finding.id == case.rule:
                row = rules.rule(case.rule)
                for text in filter(None, (row.says, row.why, row.do)):
                    text.format_map(finding.parameters)
