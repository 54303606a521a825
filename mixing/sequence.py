"""What goes in before what: published mixing orders, what labels ask, and the two brought together.

Each publisher's order is a profile in rules/order.toml; our cautious default decides. What a label says of
order comes before all of them.
"""

from __future__ import annotations

import heapq
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

from mixing import chemistry
from mixing.formulation_types import formulation_type
from mixing.labels import Label
from mixing.quantities import Quantity
from mixing.request import Recipe

TABLE = Path(__file__).parent / "rules" / "order.toml"
PREPARING = ("water_conditioner", "compatibility_agent", "antifoam", "drift_retardant")
OWN_PLACE = frozenset((*PREPARING, "oil", "surfactant", "sticker", "nutrient"))
Edges = frozenset[tuple[str, str]]
NO_EDGES: Edges = frozenset()


@dataclass(frozen=True, slots=True)
class Profile:
    """One published order: its publisher, the step of each place it names, how full the tank starts."""

    id: str
    publisher: str
    ranks: Mapping[str, int]
    start_share: tuple[Decimal, Decimal] | None


@dataclass(frozen=True, slots=True)
class Practice:
    """Shares and times that are the same for every tank."""

    start_share: Decimal
    settle: Quantity
    packet: Quantity
    last: Quantity


@lru_cache(maxsize=4096)
def place_of(label: Label) -> str:
    """Return what a product counts as in a mixing order: `packet`, an adjuvant kind, `oil`, or its code."""
    if label.packet:
        return "packet"
    if label.adjuvant in OWN_PLACE:
        return str(label.adjuvant)
    parts = chemistry.facts(label).parts
    if parts and all("oil" in part for part in parts):
        return "oil"
    kind = formulation_type(label.formulation)
    if parts and all("nutrient" in part for part in parts) and "dry" not in kind.groups:
        return "nutrient"
    return kind.code if kind.diluted_in == "water" else "unknown"


def arrange(places: Iterable[tuple[str, str]], edges: Edges, profile: str | None = None) -> list[str] | None:
    """Return ids in order: label edges first, then the places of the profile, then ids.

    :param places: id and place of each product
    :param edges: (id that goes in before, id that goes in after)
    :return: None where the edges run in a circle
    """
    ranks = profiles()[profile or default_profile()].ranks
    late = ranks.get("unknown", len(ranks))
    rank = {id: (ranks.get(place, late), id) for id, place in places}
    if not edges:
        return sorted(rank, key=rank.__getitem__)
    waits = dict.fromkeys(rank, 0)
    for _, after in edges:
        waits[after] += 1
    ready = [rank[id] for id, open_edges in waits.items() if not open_edges]
    heapq.heapify(ready)
    placed: list[str] = []
    while ready:
        _, id = heapq.heappop(ready)
        placed.append(id)
        for before, after in edges:
            if before == id:
                waits[after] -= 1
                if not waits[after]:
                    heapq.heappush(ready, rank[after])
    return placed if len(placed) == len(rank) else None


def label_edges(recipe: Recipe) -> Edges:
    """Return (before, after) for every order that a label asks of a partner in this tank."""
    asking = [
        (id, label, label.mixing)
        for id, label in recipe.products
        if label.mixing is not None and (label.mixing.order_before or label.mixing.order_after)
    ]
    if not asking:
        return NO_EDGES
    edges = set()
    for id, label, mixing in asking:
        for partner_id, partner in recipe.products:
            if partner_id == id or partner.same_product == label.same_product:
                continue
            names = chemistry.groups(partner)
            if _meets(mixing.order_before, names):
                edges.add((id, partner_id))
            if _meets(mixing.order_after, names):
                edges.add((partner_id, id))
    return frozenset(edges)


def _meets(whats: Iterable[str], names: frozenset[str]) -> bool:
    return any(what.casefold() in names for what in whats)


def circle(ids: Iterable[str], edges: Edges) -> frozenset[str]:
    """Return the ids that wait for each other, or lie between those that do."""
    left = set(ids)
    while True:
        inside = [(before, after) for before, after in edges if before in left and after in left]
        kept = {before for before, _ in inside} & {after for _, after in inside}
        if kept == left:
            return frozenset(left)
        left = kept


@lru_cache(maxsize=4096)
def dissenters(first: str, second: str) -> tuple[str, ...]:
    """Return the publishers whose order puts the second place before the first."""
    return tuple(
        profile.publisher
        for profile in profiles().values()
        if profile.id != default_profile()
        and first in profile.ranks
        and second in profile.ranks
        and profile.ranks[second] < profile.ranks[first]
    )


def profiles() -> Mapping[str, Profile]:
    """Return every published order by its id."""
    return _table()[0]


def default_profile() -> str:
    """Return the id of the order that decides."""
    return _table()[1]


def practice() -> Practice:
    """Return the shares and times that are the same for every tank."""
    return _table()[2]


@cache
def _table() -> tuple[Mapping[str, Profile], str, Practice]:
    with TABLE.open("rb") as file:
        raw = tomllib.load(file)
    said = raw["practice"]
    return (
        {row["id"]: _profile(row, raw["sources"]) for row in raw["profile"]},
        raw["default"]["profile"],
        Practice(
            start_share=Decimal(said["start_share"]),
            settle=Quantity(Decimal(said["settle_minutes"]), "min"),
            packet=Quantity(Decimal(said["packet_minutes"]), "min"),
            last=Quantity(Decimal(said["last_minutes"]), "min"),
        ),
    )


def _profile(row: Mapping[str, Any], sources: Mapping[str, Any]) -> Profile:
    ranks = {place: rank for rank, step in enumerate(row["sequence"]) for place in step}
    share = None
    if "start_share_from" in row:
        share = Decimal(row["start_share_from"]), Decimal(row["start_share_to"])
    return Profile(row["id"], sources[row["source"]]["publisher"], ranks, share)
