"""`python -m mixing`: JSON in, JSON out, exit statuses, and nothing on standard error."""

import json
import subprocess
import sys

import pytest

from mixing import rulebook
from tests.mixing.mixes import example, mix, product, q


def run(*arguments, text="", expect):
    """Run the command and return its standard output; nothing may be on standard error."""
    raw = text if isinstance(text, bytes) else text.encode()
    done = subprocess.run([sys.executable, "-m", "mixing", *arguments], input=raw, capture_output=True)
    assert done.stderr == b""
    assert done.returncode == expect, done.stdout.decode()
    return done.stdout.decode()


def errors(output):
    return {error["pointer"]: error["code"] for error in json.loads(output)["errors"]}


def test_a_sound_mix_exits_with_0(tmp_path):
    file = tmp_path / "mix.json"
    file.write_text(json.dumps(example("dormant-copper-and-oil")[0]))

    assert json.loads(run("check", str(file), expect=0))["verdict"] in ("ok", "caution")


def test_a_stop_exits_with_1():
    assert (
        json.loads(run("check", "-", text=json.dumps(example("past-bud-colour")[0]), expect=1))["verdict"]
        == "stop"
    )


def test_an_unreadable_request_exits_with_2():
    output = run("check", "-", text=json.dumps(example("bare-ounces-and-a-wrong-stage")[0]), expect=2)

    assert errors(output) == {"/products/0/rate/unit": "unit_ambiguous", "/stage/bbch": "out_of_range"}


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[1, 2",
        '{"crop": "peach", "crop": "apple"}',
        '{"crop": NaN}',
        "[" * 200_000,
        '{"a":' * 100_000,
        "1" * 5000,
        b"\xff\xfe",
        b'{"crop": "\xe9"}',
    ],
)
def test_what_is_no_json_is_told_as_a_fault(text):
    assert errors(run("check", "-", text=text, expect=2)) == {"": "invalid"}


def test_a_file_that_is_not_there_is_told_as_a_fault(tmp_path):
    assert errors(run("check", str(tmp_path / "none.json"), expect=2)) == {"": "invalid"}
    assert errors(run("check", str(tmp_path), expect=2)) == {"": "invalid"}


@pytest.mark.parametrize("arguments", [(), ("chekc",), ("check",), ("check", "-", "--language", "fr")])
def test_a_wrong_command_is_told_as_a_fault(arguments):
    assert errors(run(*arguments, expect=2)) == {"": "invalid"}


def test_half_a_surrogate_pair_is_refused_and_not_echoed():
    request = mix(product("a\ud800"))

    assert errors(run("check", "-", text=json.dumps(request), expect=2)) == {"/products/0/id": "invalid"}


def test_the_report_speaks_spanish():
    request = json.dumps(example("dormant-copper-and-oil")[0])

    english = json.loads(run("check", "-", text=request, expect=0))
    spanish = json.loads(run("check", "-", "--language", "es", text=request, expect=0))

    assert spanish["loads"] == english["loads"]
    assert spanish["cautions"] != english["cautions"]
    assert [one["id"] for one in spanish["findings"]] == [one["id"] for one in english["findings"]]


def test_the_same_request_gives_the_same_bytes_in_every_process():
    request = json.dumps(example("nobody-knows-this-pair")[0])

    assert run("check", "-", text=request, expect=0) == run("check", "-", text=request, expect=0)


def test_a_calculation_is_a_command():
    asked = json.dumps({"volume": q("4", "gal"), "rate": q("1.5", "tbsp/gal")})

    assert json.loads(run("calculate", "dose_by_volume", "-", text=asked, expect=0))["amount"] == q(
        "6", "tbsp"
    )


def test_an_unknown_calculation_exits_with_2():
    assert "errors" in json.loads(run("calculate", "dose_by_luck", "-", text="{}", expect=2))


def test_rules_are_listed_as_lines_and_as_json():
    rules = rulebook.load()

    listed = json.loads(run("rules", "--json", expect=0))

    assert listed["rules"] == {"version": rules.version, "count": rules.count}
    assert len(listed["items"]) == rules.count
    assert len(run("rules", expect=0).splitlines()) == rules.count


def test_each_listed_rule_says_who_says_so():
    listed = json.loads(run("rules", "--json", expect=0))["items"]

    lines = run("rules", expect=0).splitlines()

    for row, line in zip(listed, lines, strict=True):
        if row["source"] is not None:
            assert row["source"]["publisher"] in line
        elif row["memory"]:
            assert line.endswith("[from memory, no source was seen]")
        else:
            assert line.endswith(
                ("[common practice, no source]", "[the label of the product]", "[no source speaks of it]")
            )


def test_a_rule_is_explained_with_its_source():
    told = run("explain", "pair.copper-with-oil-dormant", expect=0)

    assert "Michigan State University Extension" in told


def test_an_unknown_rule_is_told_with_the_nearest_id():
    output = run("explain", "pair.copper-with-oil-dormat", expect=2)

    assert "did you mean pair.copper-with-oil-dormant" in json.loads(output)["errors"][0]["detail"]
