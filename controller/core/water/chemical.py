"""The bases that people raise alkalinity with: what each is made of, its names, and what is particular about it.

Masses follow from the IUPAC standard atomic weights.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Final
from unicodedata import normalize


@dataclass(frozen=True, slots=True)
class Traits:
    """What a base is made of.

    Attributes
    ----------
    formula
        Chemical formula, as on a label.
    g_per_eq
        Mass per equivalent of alkalinity [g/eq].
    carbon_mol_per_eq
        Inorganic carbon brought along [mol/eq].
    names
        Further names under which it is sold, in small letters.
    caution
        What is particular about it; empty if nothing is.
    stalls_at_ph
        pH above which it next to does not dissolve; None for what dissolves at once. Below it, it takes days, so
        no pH right after a dose can be told.
    """

    formula: str
    g_per_eq: float
    carbon_mol_per_eq: float
    names: tuple[str, ...] = ()
    caution: str = ""
    stalls_at_ph: float | None = None


class Chemical(Enum):
    """A base that people raise alkalinity with; the value is its systematic name."""

    POTASSIUM_HYDROXIDE = "potassium hydroxide"
    CALCIUM_HYDROXIDE = "calcium hydroxide"
    CALCIUM_OXIDE = "calcium oxide"
    POTASSIUM_CARBONATE = "potassium carbonate"
    POTASSIUM_BICARBONATE = "potassium bicarbonate"
    SODIUM_BICARBONATE = "sodium bicarbonate"
    SODIUM_CARBONATE = "sodium carbonate"
    SODIUM_CARBONATE_DECAHYDRATE = "sodium carbonate decahydrate"
    CALCIUM_CARBONATE = "calcium carbonate"


_SODIUM: Final = "Sodium builds up in a loop with plants and harms them."
_CAUSTIC: Final = "Caustic: burns skin and eyes, and heats as it dissolves."

TRAITS: Final[dict[Chemical, Traits]] = {
    Chemical.POTASSIUM_HYDROXIDE: Traits("KOH", 56.1056, 0.0, ("caustic potash", "potash lye"), _CAUSTIC),
    Chemical.CALCIUM_HYDROXIDE: Traits("Ca(OH)2", 37.0464, 0.0, ("hydrated lime", "slaked lime"), _CAUSTIC),
    Chemical.CALCIUM_OXIDE: Traits(
        "CaO", 28.0387, 0.0, ("quicklime", "burnt lime"), "Caustic: it may boil and spit as it slakes."
    ),
    Chemical.POTASSIUM_CARBONATE: Traits("K2CO3", 69.1027, 0.5, ("potash",)),
    Chemical.POTASSIUM_BICARBONATE: Traits(
        "KHCO3", 100.1151, 1.0, ("potassium hydrogen carbonate", "potassium acid carbonate")
    ),
    Chemical.SODIUM_BICARBONATE: Traits(
        "NaHCO3",
        84.0066,
        1.0,
        ("sodium hydrogen carbonate", "baking soda", "bicarbonate of soda", "bicarb"),
        _SODIUM,
    ),
    Chemical.SODIUM_CARBONATE: Traits(
        "Na2CO3", 52.9942, 0.5, ("soda ash", "anhydrous sodium carbonate"), _SODIUM
    ),
    Chemical.SODIUM_CARBONATE_DECAHYDRATE: Traits(
        "Na2CO3.10H2O",
        143.0706,
        0.5,
        ("washing soda", "soda crystals", "washing soda crystals"),
        f"{_SODIUM} Two thirds of it is water; where the label says anhydrous it is soda ash.",
    ),
    Chemical.CALCIUM_CARBONATE: Traits(
        "CaCO3",
        50.0435,
        0.5,
        ("limestone", "aragonite", "chalk", "calcite", "oyster shell", "oyster shells"),
        "Dissolves over days, the slower the nearer to pH 7.2, and next to not at all above it.",
        # Common practice, no source: where it stalls hangs on the calcium in the water.
        stalls_at_ph=7.2,
    ),
}

assert set(TRAITS) == set(Chemical), "every base has its traits"


def find_chemical(name: str) -> Chemical | None:
    """Find a base by formula, systematic name or trade name; capitals, hyphens and spaces do not matter."""
    wanted = _plain(name)
    for chemical, traits in TRAITS.items():
        if wanted in {_plain(text) for text in (chemical.value, traits.formula, *traits.names)}:
            return chemical
    return None


class SlowToDissolve(ValueError):  # noqa: N818 - it is read aloud to the person who asked
    """What a base that dissolves over days does to pH, which nobody can tell; the text says why."""


def refuse_slow(chemical: Chemical, *, ph: float) -> None:
    """Refuse to tell the pH after a base that dissolves over days or, at this pH, next to not at all.

    Raises
    ------
    SlowToDissolve
        With what it does instead.
    """
    stalls_at_ph = TRAITS[chemical].stalls_at_ph
    if stalls_at_ph is None:
        return
    name = chemical.value
    if ph >= stalls_at_ph:
        raise SlowToDissolve(
            f"above pH {stalls_at_ph:g} {name} hardly dissolves: at pH {ph:g} expect no rise; take another base"
        )
    raise SlowToDissolve(
        f"{name} dissolves over days and stalls near pH {stalls_at_ph:g}: no pH after it can be told; measure"
    )


def _plain(name: str) -> str:
    # The compatible form makes plain digits of the small ones that labels print in a formula.
    return "".join(letter for letter in normalize("NFKC", name).casefold() if letter.isalnum())
