"""The mix check: from a validated structure, from JSON to JSON, with ten times the rules, and its import."""

from __future__ import annotations

import copy
import dataclasses
import itertools
import json
import subprocess
import sys
import time
from collections.abc import Iterator
from statistics import median

from mixing import check_mix, check_request, read_request, rulebook
from mixing.chemistry import FILE as SUBSTANCES
from mixing.request import MixRequest
from mixing.rulebook import FOLDER, Rulebook
from mixing.rulebook.loader import Tables, read_folder
from tests.bench.measure import BLOCKS, Result, measure
from tests.bench.mixing_jobs import other_jobs
from tests.mixing.mixes import Json, label, mix, product, q, use

GOAL_REPORT_MS, GOAL_JSON_MS, GOAL_IMPORT_MS = 0.3, 1.0, 50.0
GROWTH = 1.25
"""With ten times the rules a check may take this much longer: noise, not growth."""

KINDS = (
    ("copper hydroxide", "WG", ("WP",), q("1.5", "tbsp/gal"), q("1.5", "tbsp/gal")),
    ("mineral oil", "EC", (), q("1.5", "percent_vv"), q("2", "percent_vv")),
    ("captan", "WP", (), q("2", "lb/100gal"), q("2.5", "lb/100gal")),
    ("myclobutanil", "SC", (), q("6", "fl_oz/100gal"), q("8", "fl_oz/100gal")),
    ("spinosad", "SL", (), q("4", "fl_oz/100gal"), q("8", "fl_oz/100gal")),
    ("sulfur", "SC", (), q("2", "pt/100gal"), q("3", "pt/100gal")),
)


def request() -> Json:
    """Return six products, six loads, measures, weather, water and some history."""
    products = [_product(number, *kind) for number, kind in enumerate(KINDS)]
    done = {"bbch": 97, "label": products[0]["label"], "rate": q("1.5", "tbsp/gal")}
    ground = {"spray_volume": q("22", "gal"), "area": q("0.25", "acre")}
    past = [{"on": f"2026-{month}-10", **done, **ground} for month in (10, 11, 12)]
    return mix(*products, spray={"total": q("22", "gal"), "area": q("0.25", "acre")}, history=past)


def _product(number: int, active: str, formulation: str, _: object, rate: Json, maximum: Json) -> Json:
    row = use(
        rate={"minimum": None, "maximum": maximum},
        stages=[{"from": 93, "to": 57}],
        re_entry=q("24", "h"),
        pre_harvest=q("21", "d"),
        interval=q("7", "d"),
        maximum_applications=6,
        wind={"maximum": q("10", "mph")},
        rain_free=q("12", "h"),
    )
    made = label(
        f"{active.title()} {formulation}",
        active_ingredients=[{"name": active, "content": q("50", "percent_ww")}],
        formulation=formulation,
        bulk_density=q("0.6", "kg/L"),
        uses=[row],
        mixing={"water_ph": {"minimum": "4", "maximum": "9"}, "do_not_mix_with": [{"what": "lime sulfur"}]},
    )
    return product(f"p{number}", rate) | {"label": made}


def results() -> list[Result]:
    """Return the rows of the mixing family."""
    raw = request()
    text = json.dumps(raw)
    rules, read = rulebook.load(), read_request(raw)
    report = check_request(read, rules=rules)
    assert len(report["loads"]) == 6 and len(report["totals"]) == 6
    pairs = dict.fromkeys(itertools.combinations(sorted(kind[0] for kind in KINDS), 2), 0)

    def look_up() -> int:
        return sum(pairs[pair] for pair in pairs)

    def round_trip() -> str:
        return json.dumps(json.loads(text)) + json.dumps(report)

    many = _ten_times()
    size, calls = "6 products, 6 loads", 200
    once = measure(
        "structure to report",
        f"{size}, {rules.count} rules",
        lambda: check_request(read, rules=rules),
        floor=look_up,
        goal_ms=GOAL_REPORT_MS,
        calls=calls,
    )
    jobs = _other_jobs(raw, calls)
    another = measure(
        "another job each time",
        f"{size}, known labels; floor: the same job",
        lambda: check_request(next(jobs), rules=rules),
        floor=lambda: check_request(read, rules=rules),
        calls=calls,
    )
    whole = measure(
        "JSON to JSON",
        f"{size}, {len(text)} characters",
        lambda: json.dumps(check_mix(json.loads(text))),
        floor=round_trip,
        goal_ms=GOAL_JSON_MS,
        calls=calls,
    )
    tenfold = measure(
        "ten times the rules",
        f"{size}, {many.count} rules; floor: {rules.count}",
        lambda: check_request(read, rules=many),
        floor=lambda: check_request(read, rules=rules),
        calls=calls,
    )
    assert tenfold.ratios is not None
    grown = dataclasses.replace(tenfold, goal=f"<= {GROWTH:g} x", met=tenfold.ratios[0] <= GROWTH)
    return [once, another, whole, grown, *_starts()]


def _other_jobs(first: Json, calls: int) -> Iterator[MixRequest]:
    """Return as many jobs as are measured, and one before."""
    jobs = [read_request(job) for job in other_jobs(first, count=calls * BLOCKS + 1)]
    assert len(check_request(jobs[0], rules=rulebook.load())["loads"]) == 6  # the one that is not measured
    return iter(jobs)


def _ten_times() -> Rulebook:
    """Return the rules with nine more of each, about things that are not in the tank."""
    tables = read_folder(FOLDER, also=(SUBSTANCES,))
    more = Tables()
    more.sources, more.raw, more.rules = tables.sources, tables.raw, list(tables.rules)
    for rule, number in itertools.product(tables.rules, range(9)):
        when = copy.copy(rule.when)
        changes: dict[str, object] = {}
        if when.pair is not None:
            changes["pair"] = (f"{when.pair[0]} {number}", f"{when.pair[1]} {number}")
        elif when.what is not None:
            changes["what"] = tuple(f"{what} {number}" for what in when.what)
        else:
            changes["crops"] = frozenset({f"crop {number}"})
        more.rules.append(
            dataclasses.replace(
                rule,
                id=f"{rule.id}-{number}",
                about=f"{rule.about}-{number}",
                when=dataclasses.replace(when, **changes),
            )
        )
    return Rulebook(more)


FIRST = "from mixing import check_mix; from tests.bench.mixing import request; check_mix(request())"


def _starts() -> list[Result]:
    """Return what a fresh interpreter takes to import the package, and until its first report.

    The package loads its modules when they are first asked for, so the first says nothing of the second.
    """
    return [
        _start("import of mixing", "import mixing", GOAL_IMPORT_MS),
        _start("first report, rules read", FIRST, None),
    ]


def _start(work: str, code: str, goal_ms: float | None) -> Result:
    bare, ours = [], []
    for _ in range(9):
        bare.append(_started("pass"))
        ours.append(_started(code))
    floor = median(bare)
    taken = [max(one - floor, 0.0) for one in ours]
    return Result(
        work=work,
        size="beyond a bare interpreter",
        floor_ms=floor,
        ours_ms=median(taken),
        ratios=(min(taken) / floor, max(taken) / floor),
        spread=sorted(taken)[-1] / median(taken),
        goal="" if goal_ms is None else f"<= {goal_ms:g} ms",
        met=None if goal_ms is None else median(taken) <= goal_ms,
    )


def _started(code: str) -> float:
    began = time.perf_counter()
    subprocess.run([sys.executable, "-c", code], check=True)
    return (time.perf_counter() - began) * 1000
