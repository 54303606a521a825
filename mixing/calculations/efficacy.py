"""Efficacy from live counts in treated and untreated plots, and the severity of a disease by classes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from math import exp, lgamma, log, sqrt

from mixing.calculations import bare, lists
from mixing.calculations.exact import brief, from_float
from mixing.calculations.registry import Given, calculation
from mixing.calculations.results import decimal, result
from mixing.calculations.worksheet import Worksheet
from mixing.catalogue import said
from mixing.faults import TOP, Faults

COUNTS = ("treated_before", "treated_after", "check_before", "check_after")
NEEDS: Mapping[str, tuple[str, ...]] = {
    "abbott": ("treated_after", "check_after"),
    "henderson_tilton": COUNTS,
    "schneider_orelli": COUNTS,
}
SOURCES = {
    "abbott": "abbott-1925",
    "henderson_tilton": "henderson-1955",
    "schneider_orelli": "schneider-1947",
}
DIVISORS: Mapping[str, tuple[str, ...]] = {
    "abbott": ("check_after",),
    "henderson_tilton": ("treated_before", "check_after"),
    "schneider_orelli": ("treated_before", "check_before", "check_after"),
}
"""Counts that the formula divides by: none may be nothing."""


def _counts(given: Given, name: str) -> list[Fraction]:
    return [one for one in given.listed(name) if isinstance(one, Fraction)]


def _counts_fit_method(given: Given, faults: Faults) -> None:
    method = given.values.get("method")
    if not isinstance(method, str):
        return
    for name in NEEDS[method]:
        if not given.has(name):
            faults.add((TOP, name), "required", said("fault.method_needs", method=method, name=name))
    for name in COUNTS:
        if name not in NEEDS[method] and given.has(name):
            faults.add(
                (TOP, name),
                "invalid",
                said("fault.method_takes", method=method, taken=" and ".join(NEEDS[method]), name=name),
            )
    _replicates_match(given, method, faults)
    for name in DIVISORS[method]:
        if any(one == 0 for one in _counts(given, name)):
            detail = said("fault.nothing_alive", name=name)
            faults.add((TOP, name), "out_of_range", detail)


def _replicates_match(given: Given, method: str, faults: Faults) -> None:
    sizes = {name: len(_counts(given, name)) for name in NEEDS[method] if _counts(given, name)}
    if len(set(sizes.values())) > 1:
        first = next(iter(sizes))
        for name, size in sizes.items():
            if size != sizes[first]:
                detail = said("fault.replicates", size=size, other=sizes[first], first=first)
                faults.add((TOP, name), "invalid", detail)


COUNT = bare.number("count", "live ones counted", low=0)


@calculation(
    does="The efficacy of a treatment in percent, corrected by untreated check plots.",
    inputs=(
        bare.choice("method", "which formula to use", tuple(NEEDS)),
        *(
            lists.one_or_many(name, f"live ones {where}, one count or a list of replicates", COUNT).optional()
            for name, where in (
                ("treated_before", "in treated plots before"),
                ("treated_after", "in treated plots after"),
                ("check_before", "in check plots before"),
                ("check_after", "in check plots after"),
            )
        ),
    ),
    results=(
        decimal("percent", "the efficacy; the mean where there are replicates"),
        result(
            "interval",
            "with replicates, the 95 % interval of the mean by Student's t; else null",
            {
                "type": ["object", "null"],
                "properties": {"low": {"type": "string"}, "high": {"type": "string"}},
                "required": ["low", "high"],
            },
        ),
        result(
            "per_replicate", "the efficacy in each replicate", {"type": "array", "items": {"type": "string"}}
        ),
    ),
    sources=("abbott-1925", "henderson-1955", "schneider-1947"),
    example={
        "method": "henderson_tilton",
        "treated_before": 30,
        "treated_after": 6,
        "check_before": 28,
        "check_after": 26,
    },
    relations=(_counts_fit_method,),
)
def efficacy(sheet: Worksheet, *, method: str, **counts: tuple[Fraction, ...]) -> Mapping[str, object]:
    """The percentage by the formula, of each replicate and together."""
    plots = list(zip(*(counts[name] for name in NEEDS[method]), strict=True))
    each = [FORMULAS[method](sheet, *plot) for plot in plots]
    mean = sum(each, Fraction(0)) / len(each)
    interval = None
    if len(each) > 1:
        sheet.note(said("step.mean", count=len(each), mean=brief(mean)))
        interval = _interval(sheet, each, mean)
    return {"percent": mean, "interval": interval, "per_replicate": each, "source": SOURCES[method]}


def _abbott(sheet: Worksheet, treated: Fraction, check: Fraction) -> Fraction:
    percent = (check - treated) / check * 100
    sheet.note(f"({brief(check)} − {brief(treated)}) ÷ {brief(check)} × 100 = {brief(percent)} %")
    return percent


def _henderson_tilton(
    sheet: Worksheet, before: Fraction, after: Fraction, check_before: Fraction, check_after: Fraction
) -> Fraction:
    percent = 100 * (1 - after / before * check_before / check_after)
    sheet.note(
        f"100 × (1 − {brief(after)} ÷ {brief(before)} × {brief(check_before)} ÷ {brief(check_after)})"
        f" = {brief(percent)} %"
    )
    return percent


def _schneider_orelli(
    sheet: Worksheet, before: Fraction, after: Fraction, check_before: Fraction, check_after: Fraction
) -> Fraction:
    dead, check_dead = 100 * (before - after) / before, 100 * (check_before - check_after) / check_before
    sheet.note(said("step.dead_treated", before=brief(before), after=brief(after), dead=brief(dead)))
    sheet.note(
        said("step.dead_check", before=brief(check_before), after=brief(check_after), dead=brief(check_dead))
    )
    percent = (dead - check_dead) / (100 - check_dead) * 100
    sheet.note(
        f"({brief(dead)} − {brief(check_dead)}) ÷ (100 − {brief(check_dead)}) × 100 = {brief(percent)} %"
    )
    return percent


FORMULAS: Mapping[str, Callable[..., Fraction]] = {
    "abbott": _abbott,
    "henderson_tilton": _henderson_tilton,
    "schneider_orelli": _schneider_orelli,
}


def _interval(sheet: Worksheet, each: Sequence[Fraction], mean: Fraction) -> Mapping[str, Fraction]:
    """Return the 95 % interval of the mean by Student's t."""
    spread = sqrt(float(sum(((one - mean) ** 2 for one in each), Fraction(0)) / (len(each) - 1)))
    t = student_t(len(each) - 1)
    half = from_float(t * spread / sqrt(len(each)))
    sheet.note(
        said(
            "step.confidence",
            spread=f"{spread:.6g}",
            freedom=len(each) - 1,
            t=f"{t:.4f}",
            count=len(each),
            half=brief(half),
        )
    )
    return {"low": mean - half, "high": mean + half}


def student_t(freedom: int, share: float = 0.975) -> float:
    """Return the value that Student's t stays below with a probability of `share`, found by halving."""
    low, high = 0.0, 700.0
    for _ in range(80):
        middle = (low + high) / 2
        if _t_below(middle, freedom) < share:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _t_below(t: float, freedom: int) -> float:
    """Return the probability that Student's t lies below `t`, by the incomplete beta function."""
    x = freedom / (freedom + t * t)
    return 1 - _incomplete_beta(freedom / 2, 0.5, x) / 2


def _incomplete_beta(a: float, b: float, x: float) -> float:
    """Return the regularised incomplete beta function, by its continued fraction (Lentz's method).

    Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 1964, 26.5.8.
    """
    if x in (0.0, 1.0):
        return x
    if x > (a + 1) / (a + b + 2):
        return 1 - _incomplete_beta(b, a, 1 - x)
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log(1 - x)) / a
    c, d = 1.0, 1 / (1 - (a + b) * x / (a + 1))
    total = d
    for m in range(1, 500):
        for step in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d = 1 / (1 + step * d)
            c = 1 + step / c
            total *= c * d
        if abs(c * d - 1) < 1e-15:
            break
    return front * total


CLASS = lists.record(
    "classes",
    "a class of the scale",
    (
        bare.number("rating", "the rating of the class; 0 is healthy", low=0),
        bare.number("count", "how many leaves, fruit or trees are in it", low=0),
    ),
)


def _classes_make_a_scale(given: Given, faults: Faults) -> None:
    classes = [one for one in given.listed("classes") if isinstance(one, dict)]
    if not classes:
        return
    seen: set[Fraction] = set()
    for rank, one in enumerate(classes):
        if one["rating"] in seen:
            faults.add((((TOP, "classes"), rank), "rating"), "invalid", said("fault.twin_ratings"))
        seen.add(one["rating"])
    if max(one["rating"] for one in classes) == 0:
        detail = said("fault.no_scale")
        faults.add((TOP, "classes"), "out_of_range", detail)
    if not sum(one["count"] for one in classes):
        faults.add((TOP, "classes"), "out_of_range", said("fault.nothing_counted"))


@calculation(
    does="The severity of a disease in percent, from counts in the classes of a scale.",
    inputs=(
        lists.many("classes", "the classes; the highest rating given is the scale's end", CLASS, most=200),
    ),
    results=(decimal("percent", "0 where all are healthy, 100 where all are at the scale's end"),),
    sources=("severity-index",),
    example={
        "classes": [
            {"rating": 0, "count": 10},
            {"rating": 1, "count": 5},
            {"rating": 2, "count": 3},
            {"rating": 3, "count": 2},
            {"rating": 4, "count": 0},
        ]
    },
    relations=(_classes_make_a_scale,),
)
def severity_index(sheet: Worksheet, *, classes: Sequence[Mapping[str, Fraction]]) -> Mapping[str, object]:
    """percent = sum of rating x count / (all counted x highest rating) x 100."""
    weighed = sum((one["rating"] * one["count"] for one in classes), Fraction(0))
    counted = sum((one["count"] for one in classes), Fraction(0))
    end = max(one["rating"] for one in classes)
    terms = " + ".join(f"{brief(one['rating'])} × {brief(one['count'])}" for one in classes)
    percent = weighed / (counted * end) * 100
    sheet.note(f"{terms} = {brief(weighed)}")
    sheet.note(f"{brief(weighed)} ÷ ({brief(counted)} × {brief(end)}) × 100 = {brief(percent)} %")
    return {"percent": percent}
