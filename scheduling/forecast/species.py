"""Which crop of a block goes by which species of the model."""

from __future__ import annotations

from collections.abc import Mapping

SPECIES: Mapping[str, str] = {
    "peach": "peach",
    "nectarine": "peach",
    "pear": "pear",
    "asian pear": "pear",
    "japanese apricot": "mume",
    "mume": "mume",
    "ume": "mume",
    "cherry": "cherry",
    "sweet cherry": "cherry",
    "flowering cherry": "cherry",
}
"""A nectarine is a peach without down. The rest is our reading."""

STANDS_IN: Mapping[str, str] = {
    "asian pear": "fitted_on_pears",
    "cherry": "fitted_on_flowering_cherries",
    "sweet cherry": "fitted_on_flowering_cherries",
}
"""The remark where what the stations observe is not quite the crop."""


def species_of(crop: str) -> str | None:
    """Return the species by which a crop is forecast, None where there is no model for it."""
    return SPECIES.get(" ".join(crop.lower().replace("_", " ").split()))
