"""Values of test kits: what they are weighed as, and the one form in which they are kept.

One kit says 1 mg/L of ammonia and means nitrogen, another the same and means NH3, which is a fifth less. For
nitrate the two differ more than fourfold. So a value is taken only with its basis; it is kept as nitrogen, and
the basis stays in the record.
"""

from __future__ import annotations

from typing import Final

from controller.core.units import KEPT_UNIT, Basis, Quantity
from controller.core.water.ammonia import Species, to_nitrogen_mg_l

BASES: Final[dict[Quantity, dict[Basis, Species | None]]] = {
    Quantity.TOTAL_AMMONIA: {
        Basis.NITROGEN: None,
        Basis.AMMONIA: Species.AMMONIA,
        Basis.AMMONIUM: Species.AMMONIUM,
    },
    Quantity.NITRITE: {Basis.NITROGEN: None, Basis.NITRITE: Species.NITRITE},
    Quantity.NITRATE: {Basis.NITROGEN: None, Basis.NITRATE: Species.NITRATE},
}
"""The bases in use for a quantity, and what a value must be restated from. Others have no basis."""

KEPT_AS_NITROGEN: Final = frozenset(BASES) | {Quantity.UNIONISED_AMMONIA}
"""Quantities whose values are kept, derived and shown as nitrogen."""


def name_unit(quantity: Quantity) -> str:
    """Name the kept unit of a quantity, with "as N" where the number is nitrogen."""
    unit = KEPT_UNIT[quantity]
    return f"{unit} as N" if quantity in KEPT_AS_NITROGEN else unit


def find_basis(word: str) -> Basis | None:
    """Find a basis by its word, capitals apart; an empty word is none stated, and None a word not known."""
    plain = word.strip().casefold()
    return next((basis for basis in Basis if basis.value.casefold() == plain), None)


class BasisRefused(ValueError):  # noqa: N818 - it is read aloud to the person who entered the value
    """A basis that does not go with the quantity, or that is missing; the text asks for the right one."""


def restate_mg_l(quantity: Quantity, *, value: float, basis: Basis) -> float:
    """Restate a test kit's value in the form in which it is kept.

    Parameters
    ----------
    quantity
        What was tested.
    value
        The value, in the kept unit of the quantity; 0 to 100 000 where it has a basis.
    basis
        What it is weighed as.

    Returns
    -------
    kept
        As nitrogen [mg/L] for ammonia, nitrite and nitrate; any other quantity as it came [kept unit].

    Raises
    ------
    BasisRefused
        For a basis that the quantity is never weighed as, and for a missing one.
    OutOfRange
        For a concentration below 0.
    """
    allowed = BASES.get(quantity)
    if allowed is None:
        if basis is not Basis.ITSELF:
            raise BasisRefused(f"{quantity.value} has no basis; leave it out")
        return value
    if basis not in allowed:
        words = " or ".join(each.value for each in allowed)
        given = f"not {basis.value}" if basis.value else "it makes a great difference"
        raise BasisRefused(f"say whether the kit shows {quantity.value} as {words} (basis), {given}")
    species = allowed[basis]
    return value if species is None else to_nitrogen_mg_l(species, mg_l=value)
