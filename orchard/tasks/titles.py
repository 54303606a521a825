"""Titles that we give ourselves are kept in English; here they are said in the language in use.

What a person typed stays as it is in every language.
"""

from __future__ import annotations

import re

from django.utils.translation import gettext, pgettext_lazy
from django.utils.translation import gettext_noop as _

AUTOMATIC = {
    "spray": "Spray",
    "leaf_removal": "Take leaves off",
    "scouting": "Scout",
    "calibration": "Calibrate",
    "equipment_wash": "Wash",
    "stocktake": "Count the store",
}
"""What an order of a kind is called that was given no title; where or with what comes after it."""

HERE = {
    "Spray": pgettext_lazy("title", "Spray"),
    "Take leaves off": pgettext_lazy("title", "Take leaves off"),
    "Scout": pgettext_lazy("title", "Scout"),
    "Calibrate": pgettext_lazy("title", "Calibrate"),
    "Wash": pgettext_lazy("title", "Wash"),
    "Count the store": pgettext_lazy("title", "Count the store"),
}
"""The same, in the language in use."""

PUBLISHED = (
    _("Copper and oil on apple and pear"),
    _("Oil in autumn against blister mites"),
    _("Copper on apple, silver tip to green tip"),
    _("Copper on pear before growth begins"),
    _("Oil from green tip to tight cluster against scale, mites and aphids"),
    _("Leaf curl on peach and nectarine"),
    _("Leaf-fall copper and oil against leaf curl"),
    _("Copper and oil at bud swell, before any colour"),
    _("Count curled shoots, treated and untreated"),
    _("Stone fruit in the dormant season"),
    _("Copper at half leaf fall against shot hole"),
    _("Oil at bud swell against scale and mite eggs"),
)
"""The season plans that are shipped, and their lines."""

BEFORE_A_LINE = _("Take leaves off by hand, or wait, before %(line)s")
BEFORE = re.compile(re.escape(BEFORE_A_LINE).replace(re.escape("%(line)s"), "(?P<line>.+)"))
OURS = frozenset((*HERE, *PUBLISHED))


def leaves_before(line: str) -> str:
    """Return what work is called that must come before a line of a season plan."""
    return BEFORE_A_LINE % {"line": line}


def said(title: str) -> str:
    """Return a title in the language in use: the longest beginning that is ours, then what comes after it."""
    if found := BEFORE.fullmatch(title):
        return gettext(BEFORE_A_LINE) % {"line": said(found["line"])}
    end = len(title)
    while end > 0:
        if title[:end] in OURS:
            return _said(title[:end]) + title[end:]
        end = title.rfind(", ", 0, end)
    return title


def _said(ours: str) -> str:
    return str(HERE[ours]) if ours in HERE else gettext(ours)
