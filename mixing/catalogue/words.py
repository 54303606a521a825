"""Turns the words that stand in parameters into the language of the sentence.

A rule or a label speaks of a crop, a kind of adjuvant, a metal or a substance by its English name. Names of
products, figures with units and dates are the same in every language and are left alone.
"""

from __future__ import annotations

from collections.abc import Mapping

WORDY = frozenset(("beside", "crop", "formulation", "kind", "of", "residue", "targets", "value"))
"""The parameters that may hold such words, one or several with commas between them."""


PHRASED = frozenset(
    ("about", "answer", "kind", "limit", "limits", "model", "part", "risk", "side", "units", "wanted", "what")
)
"""The parameters that may hold a phrase: what a field is, what kind of value stands where another should."""


def in_language(
    parameters: Mapping[str, str], words: Mapping[str, str], phrases: Mapping[str, str]
) -> Mapping[str, str]:
    """Return the parameters with every word and phrase that the language has a name for."""
    wordy, phrased = WORDY & parameters.keys(), PHRASED & parameters.keys()
    if not wordy and not phrased:
        return parameters
    told = {**parameters, **{name: _each(parameters[name], words) for name in wordy}}
    return told | {name: phrases.get(parameters[name], told[name]) for name in phrased}


def _each(value: str, words: Mapping[str, str]) -> str:
    return ", ".join(words.get(part, part) for part in value.split(", "))
