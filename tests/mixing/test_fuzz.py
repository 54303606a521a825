"""Ten thousand requests, something changed in each: a report, or faults and no dose, never a traceback."""

import copy
import json
import random

from mixing import MixRequestError, check_mix
from tests.mixing.mixes import example, label, mix, powder, product, q, use

SEED = 20270121
RUNS = 10_000

ODD = [
    None, True, False, 0, 1, -1, 7, 10**30, -0.0, 1.5, float("nan"), float("inf"), [], {}, [[]], [None],
    "", " ", "0", "-1", "1e5", "NaN", "1.50", "00012", "0." + "0" * 18 + "1", "9" * 20, "9" * 21, "١",
    "x" * 600, "\ud800", "\x00", "2027-01-01", "2027-01-21T08:00:00Z", "peach", "copper", "oil", "WP",
    "EC", "gal", "hose_end_dial", "hose_end_ratio", {"value": "1"}, {"unit": "gal"}, q("1", "gal"),
    q("1", "lb/acre"), q("1", "percent_vv"), q("1", "ppm"), q("0", "h"), q("-5", "degC"), q("1", "oz"),
    q("9" * 20, "gal"), q("0.00000000000000000001", "gal"), q("1", "lb/100gal"), q("20", "percent_ww"),
    q("1", "kg/L"),
]  # fmt: skip


def rich():
    """A request in which as many fields as possible are given."""
    copper = [
        {
            "name": "copper hydroxide",
            "content": q("53.8", "percent_ww"),
            "metal": {"of": "copper", "content": q("35", "percent_ww")},
        }
    ]
    full = use(
        rate={"minimum": q("0.5", "tbsp/gal"), "maximum": q("1.5", "tbsp/gal")},
        stages=[{"from": 93, "to": 57}],
        re_entry=q("48", "h"),
        pre_harvest=q("21", "d"),
        interval=q("7", "d"),
        maximum_applications=4,
        maximum_per_year=[{"of": "copper", "amount": q("18", "lb/acre")}],
        wind={"maximum": q("8", "mph")},
        rain_free=q("12", "h"),
        temperature={"minimum": q("2", "degC"), "maximum": None},
        buffer={"width": q("25", "ft"), "from": "water"},
    )
    mixing = {
        "do_not_mix_with": [{"what": "lime sulfur"}],
        "may_mix_with": [{"what": "oil"}],
        "intervals": [{"what": "sulfur", "interval": q("14", "d"), "direction": "either"}],
        "water_ph": {"minimum": "5.5", "maximum": "9"},
        "order": {"before": ["oil"], "after": []},
        "adjuvants": {"allowed": ["oil"], "forbidden": ["sticker"], "required": []},
    }
    cu = powder(
        "cu", q("1.5", "tbsp/gal"), name="Copper hydroxide 53.8 WG", active_ingredients=copper, uses=[full],
        mixing=mixing, mode_of_action=[{"scheme": "FRAC", "code": "M01"}],
    )  # fmt: skip
    oil = product("oil", q("1.5", "percent_vv"), name="Mineral oil 98 EC", formulation="EC", adjuvant="oil")
    packet = powder("pk", q("0.5", "lb/100gal"), packet=True, packet_content=q("0.5", "lb"))
    past = {"on": "2026-11-30", "bbch": 97, "label": cu["label"], "rate": q("1.5", "tbsp/gal"),
            "spray_volume": q("22", "gal"), "area": q("0.25", "acre")}  # fmt: skip
    return mix(cu, oil, packet, history=[past, {"on": "2026-12-20", "label": label()}])


def places(here, way=()):
    """Yield the way to every value of a request."""
    items = here.items() if isinstance(here, dict) else enumerate(here) if isinstance(here, list) else ()
    for step, below in items:
        yield (*way, step)
        yield from places(below, (*way, step))


def mutate(request, chance):
    """Change, remove or double one to three values."""
    request = copy.deepcopy(request)
    for _ in range(chance.choice((1, 1, 2, 3))):
        ways = list(places(request))
        *way, last = chance.choice(ways)
        here = request
        for step in way:
            here = here[step]
        act = chance.random()
        if act < 0.6:
            here[last] = copy.deepcopy(chance.choice(ODD))
        elif act < 0.75 and isinstance(here, dict):
            del here[last]
        elif act < 0.85 and isinstance(here, dict):
            here[f"{last}x"] = chance.choice(ODD)
        elif isinstance(here, list):
            here.append(copy.deepcopy(here[last]))
        else:
            other = request
            for step in chance.choice(ways):
                other = other[step]
            here[last] = copy.deepcopy(other)
    return request


def test_ten_thousand_changed_requests_give_a_report_or_faults():
    chance = random.Random(SEED)
    seeds = [rich(), example("hose-end")[0], example("concentrate-airblast")[0]]
    reports = refusals = 0

    for _ in range(RUNS):
        request = mutate(chance.choice(seeds), chance)
        try:
            report = check_mix(request)
        except MixRequestError as refused:
            refusals += 1
            assert refused.errors
            for error in refused.errors:
                assert set(error) == {"pointer", "code", "detail"}
                assert error["pointer"] == "" or error["pointer"].startswith("/")
        else:
            reports += 1
            assert report["verdict"] in ("ok", "caution", "stop")
            json.dumps(report, allow_nan=False)

    assert reports > RUNS / 20
    assert refusals > RUNS / 20
