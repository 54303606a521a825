"""What was not checked because it was not given, in the order of the request and once each."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import lru_cache

from mixing import chemistry
from mixing.catalogue import Text
from mixing.faults import close_words, did_you_mean
from mixing.findings import Missing
from mixing.labels import Label
from mixing.request import MixRequest, Recipe, Spray, Sprayer, Water, Weather

MATERIALS = frozenset(
    (
        "steel", "mild_steel", "stainless_steel", "iron", "galvanised", "galvanized", "galvanized_steel",
        "zinc", "aluminum", "aluminium", "brass", "copper", "plastic", "polyethylene", "fiberglass", "rubber",
    )
)  # fmt: skip
"""What sprayers are made of. A word that is none of these meets no rule, and that is said."""

TOP = tuple(MixRequest.__slots__)
INSIDE = {
    "stage": ("bbch", "observed_on"),
    "sprayer": Sprayer.__slots__,
    "water": Water.__slots__,
    "spray": Spray.__slots__,
    "weather": Weather.__slots__,
    "label": tuple(
        name
        for field in Label.__slots__
        for name in {
            "active_ingredients": (field, "content", "metal"),
            "uses": (field, "rate", "re_entry", "pre_harvest"),
        }.get(field, (field,))
    ),
}


def of_request(request: MixRequest) -> Iterator[Missing]:
    """Yield every field of the request that may be left out and was."""
    for name in ("stage", "region", "season", "at", "spray", "history"):
        if getattr(request, name) is None:
            yield Missing(name)
    if not request.targets:
        yield Missing("targets")
    if not request.measures:
        yield Missing("measures")
    if request.stage is not None and request.stage.observed_on is None:
        yield Missing("stage.observed_on")
    if request.sprayer.tank is None and not request.sprayer.is_hose_end:
        yield Missing("sprayer.tank")
    for name in request.sprayer.unsaid:
        yield Missing(f"sprayer.{name}")
    strange = [
        one for one in request.sprayer.materials or () if one.casefold().replace(" ", "_") not in MATERIALS
    ]
    if strange:
        yield Missing("sprayer.materials", Text("missing.material_unknown", {"names": ", ".join(strange)}))
    yield from _unknown_partners(request.recipe)
    if request.spray is not None and request.spray.area is None:
        yield Missing("spray.area")
    for part, fields in (("water", Water.__slots__), ("weather", Weather.__slots__)):
        given = getattr(request, part)
        for field in fields:
            if given is None or getattr(given, field) is None:
                yield Missing(f"{part}.{field}")


@lru_cache(maxsize=1024)
def _unknown_partners(recipe: Recipe) -> tuple[Missing, ...]:
    """Return a line for each label that forbids, or keeps days from, what nobody here knows by that name.

    A word with a figure in it is a registration number, and stands for itself.
    """
    known = chemistry.known_groups().union(*(chemistry.facts(label).groups for _, label in recipe.products))
    found = []
    for id, label in recipe.products:
        if label.mixing is None:
            continue
        named = (*label.mixing.do_not_mix_with, *(row.what for row in label.mixing.intervals))
        strange = [one for one in dict.fromkeys(named) if not _known(one, known)]
        if strange:
            meant = [other for one in strange for other in close_words(one.casefold(), known)[:2]]
            said = {"names": ", ".join(strange), "hint": did_you_mean(meant[:2]) or ""}
            found.append(Missing(f"label.mixing:{id}", Text("missing.partner_unknown", said)))
    return tuple(found)


def _known(what: str, known: frozenset[str]) -> bool:
    return (
        what.casefold() in known
        or any(letter.isdigit() for letter in what)
        or bool(chemistry.substance(what))
    )


def in_order(missing: Iterable[Missing], *, products: tuple[str, ...]) -> tuple[Missing, ...]:
    """Return what was missing in the order of the request, each path once.

    :param products: ids of the products in the order of the request
    """
    once: dict[str, Missing] = {}
    for one in missing:
        once.setdefault(one.what, one)
    return tuple(sorted(once.values(), key=lambda one: _rank(one.what, products)))


def _rank(what: str, products: tuple[str, ...]) -> tuple[int, int, int, str]:
    path, colon, product = what.partition(":")
    place, inside = _place(path)
    which = products.index(product) if colon and product in products else len(products)
    return place, which, inside, what


@lru_cache(maxsize=1024)
def _place(path: str) -> tuple[int, int]:
    """Return the place of a path's first part and of its second within that."""
    first, _, rest = path.partition(".")
    second = rest.partition(".")[0]
    fields = tuple(INSIDE.get(first, ()))
    top = "products" if first == "label" else first
    place = TOP.index(top) if top in TOP else len(TOP)
    return place, fields.index(second) if second in fields else len(fields)
