"""What an ingredient is: its groups, its formula, its mode of action, how long it lasts in water.

Everything stands in `substances.toml`; nothing here knows a substance by name. The file is read when it is
first needed, not when the engine is imported.
"""

from mixing.chemistry.crops import crop_name, known_crops, names_of_crop
from mixing.chemistry.facts import (
    ADJUVANTS,
    Facts,
    facts,
    facts_of_residue,
    groups,
    known_groups,
    tidy_code,
)
from mixing.chemistry.formulas import (
    FormulaError,
    atoms_of,
    fraction_of,
    is_metal,
    metal_fraction,
    molar_mass,
)
from mixing.chemistry.substances import FILE, Substance, formulas, groups_of, half_lives, metals, substance

__all__ = [
    "ADJUVANTS",
    "FILE",
    "Facts",
    "FormulaError",
    "Substance",
    "atoms_of",
    "crop_name",
    "facts",
    "facts_of_residue",
    "formulas",
    "fraction_of",
    "groups",
    "groups_of",
    "half_lives",
    "is_metal",
    "known_crops",
    "known_groups",
    "metal_fraction",
    "metals",
    "molar_mass",
    "names_of_crop",
    "substance",
    "tidy_code",
]
