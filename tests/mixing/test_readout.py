import json
import re
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import pytest

from mixing import check_mix
from mixing.readout import readout
from tests.mixing.mixes import mix, powder, product, q

EXAMPLES = sorted((Path(__file__).parent / "examples").glob("*.json"))
READABLE = [path for path in EXAMPLES if "ounces" not in path.name]


def request_of(path):
    return json.loads(path.read_text(encoding="utf-8"))["request"]


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("path", READABLE, ids=lambda path: path.stem)
def test_nothing_that_a_person_must_know_is_left_out(path, language):
    report = check_mix(request_of(path), language=language)

    told = " ".join(readout(report, language=language).split())

    for finding in report["findings"]:
        assert " ".join(finding["says"].split()) in told
    for line in (*report["cautions"], *(step["says"] for step in report["cleaning"])):
        assert " ".join(line.split()) in told
    for load in report["loads"]:
        for dose in load["products"]:
            shown = re.findall(rf"\b{dose['id']} ([0-9.]+) {dose['exact']['unit']}", told)
            exact = Decimal(dose["exact"]["value"])
            assert any(0 <= exact - Decimal(one) < Decimal("0.01") for one in shown)


def test_a_stop_stands_in_the_first_line():
    stopped = next(path for path in EXAMPLES if path.stem == "past-bud-colour")

    assert readout(check_mix(request_of(stopped))).startswith("Verdict: STOP\n")


def test_what_was_not_checked_is_never_called_fine():
    asked = {
        "crop": "peach",
        "sprayer": {"kind": "backpack"},
        "products": [{"id": "a", "rate": {"value": "1", "unit": "tbsp/gal"}, "label": {"name": "A"}}],
    }

    told = readout(check_mix(asked))

    assert "Not checked" in told
    assert "\n  weather" in told


def test_the_command_prints_text_where_it_is_asked_to(tmp_path):
    file = tmp_path / "mix.json"
    file.write_text(json.dumps(request_of(READABLE[0])), encoding="utf-8")

    done = subprocess.run(
        [sys.executable, "-m", "mixing", "check", "--text", str(file)],
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.stdout.startswith("Verdict: ")
    assert done.stderr == ""


def test_packets_are_counted_where_they_go_in():
    packets = powder("pk", q("1.25", "lb/100gal"), packet=True, packet_content=q("0.025", "lb"))
    report = check_mix(mix(packets))

    assert "2 packets of 0.025 lb. Drop the packets in whole" in readout(report)


def test_the_jar_is_told_in_what_a_spoon_or_a_scale_shows():
    untested = mix(
        powder("a", q("2", "lb/acre")),
        product("b"),
        spray={"area": q("2", "acre"), "volume_per_area": q("100", "gal/acre")},
    )
    report = check_mix(untested)

    exact = report["jar_test"]["amounts"][0]["amount"]
    assert exact == q("2.26796185", "g")
    assert "a 2.27 g" in readout(report)


def test_an_amount_that_does_not_end_is_cut_and_never_shown_as_more_than_it_is():
    thirds = mix(
        powder("a", q("8", "lb/acre")),
        spray={"area": q("6", "acre"), "volume_per_area": q("150", "gal/acre")},
        sprayer={"kind": "airblast", "tank": q("500", "gal")},
        measures=["lb", "oz_wt"],
    )
    report = check_mix(thirds)

    assert report["loads"][0]["products"][0]["exact"] == q("26.666666666666667", "lb")
    told = readout(report)
    assert "26.66 lb a: Measure 26 lb + 10." in told and "a 26.66 lb = 26 lb + 10." in told
    assert "26.6666" not in told and "26.67" not in told


def test_spanish_fills_with_agua_and_tells_the_hour_without_signs_of_the_machine():
    told = readout(check_mix(mix(), language="es"), language="es")

    assert "1. 2 gal agua:" in told
    assert "2027-01-22 08:00 -08:00" in told


@pytest.mark.parametrize(
    ("language", "told"),
    [
        ("en", "From when picking is allowed is not known"),
        ("es", "No se sabe desde cuándo se puede cosechar"),
    ],
)
def test_a_label_without_days_before_harvest_does_not_let_anybody_pick(language, told):
    silent = powder("cu")
    silent["label"]["uses"] = [{"crops": ["peach"], "targets": [], "re_entry": q("48", "h")}]

    assert told in readout(check_mix(mix(silent), language=language), language=language)
