"""The zones under one curtain: what each wants of the day's light, and who is worse off by the wish that rules.

All zones have the light below the curtain in common, each a steady share of it, so one sum counts for them all.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

from controller.core.plan.curtain import Curtain

WORTH_TELLING: Final = 0.02
"""A zone that pays less than this share of its band's end is not called worse off (our choice). [1]"""


class Band(NamedTuple):
    """The day's light that one crop wants [mol/m2], and the share of the light at the canopy that reaches it [1]."""

    crop: str
    low_mol_m2: float
    high_mol_m2: float
    light_share: float = 1.0

    @property
    def canopy_low_mol(self) -> float:
        """The low end as light below the curtain [mol/m2]."""
        return self.low_mol_m2 / self.light_share

    @property
    def canopy_high_mol(self) -> float:
        """The high end as light below the curtain [mol/m2]."""
        return self.high_mol_m2 / self.light_share

    def measure_off(self, mol: float) -> float:
        """Return how far a sum lies above the band, or below it as a negative number; 0 in it [mol/m2]."""
        return max(0.0, mol - self.high_mol_m2) + min(0.0, mol - self.low_mol_m2)


class Plight(NamedTuple):
    """Who is worse off: what the day comes to there, and by how much it is too much, or too little (negative).

    `by_rule_mol` is what of that comes from the wish that rules; the rest is light that cannot come. [mol/m2]
    """

    crop: str
    mol: float
    off_mol: float
    by_rule_mol: float


class Clash(NamedTuple):
    """Zones that disagree today: whose wish rules, and who is worse off by it."""

    ruler: str
    plights: tuple[Plight, ...]


def list_bands(curtain: Curtain) -> tuple[Band, ...]:
    """List the bands under a curtain, first the one that rules; none if nobody has said any."""
    rule = curtain.light_sum
    if curtain.zone:
        zones = sorted(curtain.zone, key=lambda zone: zone.name != curtain.ruling_zone)
        return tuple(Band(zone.name, zone.low_mol_m2, zone.high_mol_m2, zone.light_share) for zone in zones)
    return () if rule is None else (Band(rule.crop, rule.low_mol_m2, rule.high_mol_m2),)


def find_clash(bands: Sequence[Band], *, free_mol: float, ruled_mol: float) -> Clash | None:
    """Find who is worse off because the first band rules; None if nobody.

    Parameters
    ----------
    bands
        Those under one curtain, first the one that rules.
    free_mol
        What the day comes to at the canopy if the curtain stays open from now on. [mol/m2]
    ruled_mol
        What it comes to as the first band wants it, not above `free_mol`. [mol/m2]

    Notes
    -----
    Light that cannot come is nobody's fault: a zone below its band is worse off by what shade takes of it.
    """
    plights = []
    for band in bands[1:]:
        mol = band.light_share * ruled_mol
        off_mol = band.measure_off(mol)
        if off_mol > 0.0:
            by_rule_mol, end_mol = off_mol, band.high_mol_m2
        else:
            end_mol = band.low_mol_m2
            by_rule_mol = min(end_mol, band.light_share * free_mol) - mol
        if by_rule_mol > WORTH_TELLING * end_mol:
            plights.append(Plight(band.crop, mol, off_mol, by_rule_mol))
    return Clash(bands[0].crop, tuple(plights)) if plights else None


def tell_place(band: Band, mol: float) -> str:
    """Say how a sum lies to a band."""
    off_mol = band.measure_off(mol)
    ends = f"its band of {band.low_mol_m2:g} to {band.high_mol_m2:g}"
    if off_mol == 0.0:
        return f"in {ends}"
    return f"{abs(off_mol):.1f} {'above' if off_mol > 0.0 else 'below'} {ends}"


def tell_clash(clash: Clash) -> str:
    """Say whose wish rules and who is worse off by how much."""
    return f"the wish of {clash.ruler} rules: {', '.join(map(_tell_plight, clash.plights))}"


def _tell_plight(plight: Plight) -> str:
    """Say what a zone comes to, how that lies to its band, and what of it comes from the wish that rules."""
    side = "above" if plight.off_mol > 0.0 else "below"
    off, by_rule = f"{abs(plight.off_mol):.1f}", f"{plight.by_rule_mol:.1f}"
    part = "" if by_rule == off else f" ({by_rule} of it by the shade)"
    return f"{plight.crop} comes to {plight.mol:.1f} mol/m2, {off} {side} its band{part}"
