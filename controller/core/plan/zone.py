"""A zone under a curtain: a crop with its own band of the day's light."""

from __future__ import annotations

from controller.core.plan.part import REQUIRED, Part, key


class Zone(Part):
    """What one crop under a curtain wants of the day's light, and how much of it comes that far."""

    name: str = key(REQUIRED, "Its crop, as staff say it.", max_length=30)
    low_mol_m2: float = key(
        REQUIRED, "Low end of the day's light that it wants.", unit="mol/m2/d", ge=1, le=100
    )
    high_mol_m2: float = key(
        REQUIRED, "High end of the day's light that it wants.", unit="mol/m2/d", ge=1, le=100
    )
    light_share: float = key(1.0, "Share of the light below the curtain that reaches it.", gt=0, le=1)
