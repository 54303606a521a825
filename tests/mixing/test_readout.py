import json
import subprocess
import sys
from pathlib import Path

import pytest

from mixing import check_mix
from mixing.readout import readout

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
        for product in load["products"]:
            assert f"{product['id']} {product['exact']['value']} {product['exact']['unit']}" in told


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
