"""Two kinds of bacteria that turn ammonia into nitrite and nitrite into nitrate.

Growth by Monod terms with the figures of P. Reichert (demonstration of the open R package
ecosim): growth 0.8 and 1.1 per day, respiration and death together 0.2 per day, yields 0.13 and 0.03 g dry
mass per g N, half saturation 0.5 g/m3, at 20 C, all growing by exp(0.098 dT) and exp(0.069 dT). A film is
limited besides by its area: what diffuses in, whatever lives in it.
"""

from dataclasses import dataclass
from math import exp, log

AMMONIA_GROWTH_D, NITRITE_GROWTH_D = 0.8, 1.1
LOSS_D = 0.2
AMMONIA_YIELD, NITRITE_YIELD = 0.13, 0.03
AMMONIA_WARMTH, NITRITE_WARMTH = 0.098, 0.069
# Zhu and Chen 2002: 4.275 % per C at 20 C where ammonia limits the film.
FILM_WARMTH = 0.04275
OXYGEN_HALF_G_M3 = 0.5
# Removal of 19, 31 and 80 g/m3/d at pH 6, 7 and 8 (Tyson et al. 2008, HortScience 43:719-724).
_BY_PH_BELOW_7, _BY_PH_ABOVE_7 = log(31 / 19), log(80 / 31)


def ph_factor(ph: float) -> float:
    """Speed of ammonia oxidation relative to pH 7 [1].

    Between pH 6 and 8 by Tyson et al. 2008; it stays at 2.58 above 8, and fades to nothing at 5 (common
    practice, no source).

    Parameters
    ----------
    ph : float
        pH. [1]
    """
    if ph >= 7.0:
        return exp(_BY_PH_ABOVE_7 * (min(ph, 8.0) - 7.0))
    if ph >= 6.0:
        return exp(_BY_PH_BELOW_7 * (ph - 7.0))
    return 19 / 31 * max(0.0, ph - 5.0)


@dataclass(slots=True, kw_only=True)
class Nitrifiers:
    """The two populations in a body of water.

    Attributes
    ----------
    ammonia_dry_g, nitrite_dry_g : float
        Living dry mass of each kind. [g]
    area_m2 : float
        Film area; 0 for bacteria that float freely, without a limit by area. [m2]
    most_g_m2_d : float
        Most nitrogen a square metre turns over at 20 C, 0.2 to 1.0 (from memory). [g N/m2/d]
    half_g_m3 : float
        Half saturation for ammonia and nitrite nitrogen; 0.5 free, 1 to 2 in a film. [g N/m3]
    """

    ammonia_dry_g: float
    nitrite_dry_g: float
    area_m2: float = 0.0
    most_g_m2_d: float = 0.4
    half_g_m3: float = 1.0

    @classmethod
    def mature(cls, area_m2: float, *, most_g_m2_d: float = 0.4) -> "Nitrifiers":
        """Make a film that has been fed near its limit for a season.

        Parameters
        ----------
        area_m2 : float
            Film area, above 0. [m2]
        most_g_m2_d : float
            Most nitrogen a square metre turns over at 20 C. [g N/m2/d]
        """
        most = most_g_m2_d * area_m2
        return cls(
            ammonia_dry_g=2.0 * AMMONIA_YIELD * most / AMMONIA_GROWTH_D,
            nitrite_dry_g=2.0 * NITRITE_YIELD * most / NITRITE_GROWTH_D,
            area_m2=area_m2,
            most_g_m2_d=most_g_m2_d,
        )

    def advance(
        self,
        seconds: float,
        *,
        ammonia_g_m3: float,
        nitrite_g_m3: float,
        oxygen_g_m3: float,
        water_c: float,
        ph: float,
    ) -> tuple[float, float]:
        """Let time pass; answer with the nitrogen taken out of ammonia and out of nitrite [g].

        Parameters
        ----------
        seconds : float
            Length of the step, at most an hour. [s]
        ammonia_g_m3, nitrite_g_m3, oxygen_g_m3 : float
            Total ammonia nitrogen, nitrite nitrogen, dissolved oxygen, at least 0. [g/m3]
        water_c, ph : float
            Temperature and pH of the water. [C], [1]
        """
        days = seconds / 86_400.0
        above = water_c - 20.0
        ammonia_warmth, nitrite_warmth = exp(AMMONIA_WARMTH * above), exp(NITRITE_WARMTH * above)
        breath = oxygen_g_m3 / (OXYGEN_HALF_G_M3 + oxygen_g_m3)
        ammonia = AMMONIA_GROWTH_D * ammonia_warmth * self.ammonia_dry_g / AMMONIA_YIELD
        nitrite = NITRITE_GROWTH_D * nitrite_warmth * self.nitrite_dry_g / NITRITE_YIELD
        if self.area_m2 > 0.0:
            most = self.most_g_m2_d * self.area_m2 * (1.0 + FILM_WARMTH) ** above
            ammonia, nitrite = min(ammonia, most), min(nitrite, most)
        half = self.half_g_m3
        ammonia *= days * breath * ammonia_g_m3 / (half + ammonia_g_m3) * ph_factor(ph)
        nitrite *= days * breath * nitrite_g_m3 / (half + nitrite_g_m3)
        self.ammonia_dry_g += AMMONIA_YIELD * ammonia - LOSS_D * ammonia_warmth * days * self.ammonia_dry_g
        self.nitrite_dry_g += NITRITE_YIELD * nitrite - LOSS_D * nitrite_warmth * days * self.nitrite_dry_g
        return ammonia, nitrite
