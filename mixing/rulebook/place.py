"""Where a mix is sprayed, as far as rows ask: crop, stage, targets and region."""

from __future__ import annotations

from typing import NamedTuple

from mixing import chemistry
from mixing.rulebook.rows import Rule


class Place(NamedTuple):
    """The standing circumstances of a mix; equal ones share what the rulebook has found for them.

    :ivar bbch: None where the stage is not given
    :ivar targets: in lower case
    :ivar regions: the region, its country and its union
    """

    crop: str
    bbch: int | None
    targets: frozenset[str]
    regions: frozenset[str]


def on_crop(rule: Rule, crop: str) -> bool:
    """Say whether a row speaks of this crop: named itself or by its crop group, and not shut out."""
    names = chemistry.names_of_crop(crop)
    when = rule.when
    if when.crops is not None and when.crops.isdisjoint(names):
        return False
    return when.not_crops is None or when.not_crops.isdisjoint(names)


def in_place(rule: Rule, place: Place) -> bool:
    """Say whether crop, stage, targets and region are those of a row; what is not given is not."""
    if rule.stages is not None and place.bbch not in rule.stages:
        return False
    when = rule.when
    if when.targets is not None and when.targets.isdisjoint(place.targets):
        return False
    return on_crop(rule, place.crop) and (when.regions is None or not when.regions.isdisjoint(place.regions))
