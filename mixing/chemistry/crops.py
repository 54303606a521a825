"""Crops by one name and the groups that labels and rules put them in."""

from __future__ import annotations

from functools import lru_cache

from mixing.chemistry.substances import table


@lru_cache(maxsize=512)
def crop_name(name: str) -> str:
    """Return a crop's name as the tables have it, lower case and single: `Sweet Cherries` is sweet cherry."""
    wanted, crops = " ".join(name.casefold().split()), table().crops
    for ending, instead in (("", ""), ("ies", "y"), ("es", ""), ("s", "")):
        single = wanted.removesuffix(ending) + instead
        if wanted.endswith(ending) and single in crops:
            return single
    return wanted


@lru_cache(maxsize=512)
def names_of_crop(crop: str) -> frozenset[str]:
    """Return the crop and the crop groups it is in: peach is a stone fruit, sweet cherry is a cherry."""
    name = crop_name(crop)
    return table().crops.get(name, frozenset({name}))


def known_crops() -> frozenset[str]:
    """Return every crop and crop group of the table."""
    return frozenset(table().crops)
