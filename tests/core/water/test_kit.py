"""Test kits: as nitrogen, whatever the kit weighs it as.

Molar masses computed with periodictable 2.0 (IUPAC standard atomic weights), a general reference library.
"""

from __future__ import annotations

import periodictable
import pytest

from controller.core.ranges import OutOfRange
from controller.core.units import Basis, Quantity
from controller.core.water.kit import BASES, BasisRefused, restate_mg_l


@pytest.mark.parametrize(
    ("quantity", "basis", "formula"),
    [
        (Quantity.TOTAL_AMMONIA, Basis.AMMONIA, "NH3"),
        (Quantity.NITRITE, Basis.NITRITE, "NO2"),
        (Quantity.NITRATE, Basis.NITRATE, "NO3"),
    ],
)
def test_a_value_is_restated_by_molar_masses(quantity: Quantity, basis: Basis, formula: str) -> None:
    """1 mg/L of the species is its share of nitrogen: 0.822, 0.304 and 0.226."""
    expected = periodictable.formula("N").mass / periodictable.formula(formula).mass

    assert restate_mg_l(quantity, value=1.0, basis=basis) == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("quantity", BASES)
def test_nitrogen_stays_as_it_is(quantity: Quantity) -> None:
    """A value as nitrogen is kept as it came."""
    assert restate_mg_l(quantity, value=0.8, basis=Basis.NITROGEN) == 0.8


@pytest.mark.parametrize("quantity", BASES)
def test_a_missing_basis_is_asked_for(quantity: Quantity) -> None:
    """As N and as the species differ by a fifth to fourfold, so nobody guesses: the refusal names the choices."""
    with pytest.raises(BasisRefused, match=r"as N or N"):
        restate_mg_l(quantity, value=1.0, basis=Basis.ITSELF)


def test_a_basis_of_another_species_is_refused() -> None:
    """Ammonia is not weighed as nitrate, and alkalinity has no basis of these."""
    with pytest.raises(BasisRefused, match="not NO3"):
        restate_mg_l(Quantity.TOTAL_AMMONIA, value=1.0, basis=Basis.NITRATE)
    with pytest.raises(BasisRefused, match="has no basis"):
        restate_mg_l(Quantity.ALKALINITY, value=60.0, basis=Basis.NITROGEN)


def test_a_negative_concentration_is_refused() -> None:
    """No water holds less than nothing."""
    with pytest.raises(OutOfRange, match="-1"):
        restate_mg_l(Quantity.NITRATE, value=-1.0, basis=Basis.NITRATE)


def test_other_quantities_come_as_they_are() -> None:
    """Alkalinity is kept as it was entered."""
    assert restate_mg_l(Quantity.ALKALINITY, value=60.0, basis=Basis.ITSELF) == 60.0
