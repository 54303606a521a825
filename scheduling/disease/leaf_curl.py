"""Leaf curl of peach: the wet spells since bud swell, each against the published conditions of an infection.

An infection of shoots wants 3 mm of rain, 12.5 h of wetness, below 16 degC while wet and below 19 degC until
symptoms show. It grows with wetness up to 48 h and with cold down to 8 degC; the paper's logistic curves
between are not at hand, so straight lines stand between the ends that it prints (our reading).

Source: Rossi, Bolognesi, Languasco, Giosuè, Influence of environmental conditions on infection of peach
shoots by Taphrina deformans, Phytopathology 96:155-163, 2006, abstract: thresholds and asymptotes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from mixing.calculations.sources import table
from mixing.quantities import parse_quantity
from scheduling.disease.wet_spells import WetSpell

MOST_WET, COLDEST = 48.0, 8.0
SUSCEPTIBLE = (51, 69)
"""From bud swell to petal fall. The paper: most between bud break and petal fall; swelling, to be safe."""
LIMITS = gettext_lazy(
    "The rule is of shoots in one region of Italy. What was already infected, how much of the fungus there"
    " is, and what a spray kept off is not in it. It says when an infection could be, never that none can."
)


@dataclass(frozen=True, slots=True)
class Infection:
    """What a wet spell could do.

    :ivar risk: `infection` where every condition is met, `unlikely` where one is not, `unknown`
    :ivar share: how much of the worst disease such a spell gives, 0 to 1; None where unknown
    """

    spell: WetSpell
    risk: str
    share: float | None
    says: str


def infections(spells: Iterable[WetSpell]) -> list[Infection]:
    """Return each wet spell with what it could do, in order of time; the unknown makes no spell safe.

    Hours of which nothing is known are told of where they could have been an infection.
    """
    judged = (_judged(spell) for spell in spells)
    return [one for one in judged if one.spell.wet_hours or one.risk != "unlikely"]


def _limit(name: str, unit: str) -> float:
    return float(parse_quantity(table("infection")["leaf_curl"][name]).to(unit).value)


def _judged(spell: WetSpell) -> Infection:
    rain, wetness = _limit("rain", "mm"), _limit("wetness", "h")
    warm = _limit("temperature", "degC")
    longest = spell.wet_hours + spell.unknown_hours
    found = []
    if longest < wetness:
        facts = {"hours": longest, "wanted": f"{wetness:g}"}
        found.append(_("%(hours)s h wet, %(wanted)s h are wanted") % facts)
    if spell.rain < rain and not spell.rain_unknown_hours:
        facts = {"rain": f"{spell.rain:.1f}", "wanted": f"{rain:g}"}
        found.append(_("%(rain)s mm of rain, %(wanted)s mm are wanted") % facts)
    if spell.mean is not None and spell.mean >= warm:
        facts = {"mean": f"{spell.mean:.1f}", "wanted": f"{warm:g}"}
        found.append(_("%(mean)s °C, below %(wanted)s °C is wanted") % facts)
    if found:
        return Infection(spell, "unlikely", 0.0, "; ".join(found))
    if spell.mean is None or spell.wet_hours < wetness or spell.rain < rain:
        says = _(
            "%(unknown)s h of wetness and %(rain)s h of rain are not known: an infection cannot be ruled out"
        )
        facts = {"unknown": spell.unknown_hours, "rain": spell.rain_unknown_hours}
        return Infection(spell, "unknown", None, says % facts)
    share = _up(spell.wet_hours, wetness, MOST_WET) * (1 - _up(spell.mean, COLDEST, warm))
    says = _("%(hours)s h wet at %(mean)s °C with %(rain)s mm of rain")
    facts = {"hours": spell.wet_hours, "mean": f"{spell.mean:.1f}", "rain": f"{spell.rain:.1f}"}
    return Infection(spell, "infection", round(share, 2), says % facts)


def _up(value: float, low: float, high: float) -> float:
    return min(1.0, max(0.0, (value - low) / (high - low)))
