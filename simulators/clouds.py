"""Minutes of sun from the mean of an hour.

Clouds pass as a row of shadows. The statistics follow Bright, Smith, Taylor and Crook 2015, Solar Energy
115:229-242: clear-sky index of clear air N(0.99, 0.08); of cloud, by the okta of the hour, N(0.6784, 0.2046)
up to 6, Weibull(0.5577, 2.4061) at 7, Gamma(3.5624, 0.0867) at 8; noise of the minute growing with the okta.
Cloud lengths follow x^-1.66 from 0.1 to 1000 km (Wood and Field 2011, J. Climate 24:4800) and drift with
Gamma(2.69, 2.14) m/s (Mathiesen et al. 2013, after Bright).

Two things are our own. The cover of an hour is the one that gives its mean, because the mean is what is
known. And the sun beside a cloud's edge is brighter than in a clear sky (Yordanov et al. 2013, IEEE J.
Photovoltaics 3:271, saw over 1.5 times for seconds to minutes): the minute with the edge gets an
exponential surplus of 10 % on average, at most 45 %.
"""

import random
from math import exp

CLEAR_MEAN, CLEAR_SPREAD = 0.99, 0.08
EDGE_MEAN, EDGE_MOST = 0.10, 0.45
CLOUDS_MOST = 60  # in an hour; one a minute already blurs into haze
_LENGTH_POWER = 1.0 - 1.66
_LENGTH_SHORT = 0.1**_LENGTH_POWER
_LENGTH_SPAN = 1000.0**_LENGTH_POWER - _LENGTH_SHORT


def draw_cloud_index(draws: random.Random, okta: int) -> float:
    """Clear-sky index under cloud in an hour of a given cover [1], 0.05 to 0.95.

    Parameters
    ----------
    draws : random.Random
        Where the chance comes from.
    okta : int
        Eighths of the sky covered, 0 to 8. [1]
    """
    if okta >= 8:
        index = draws.gammavariate(3.5624, 0.0867)
    elif okta == 7:
        index = draws.weibullvariate(0.5577, 2.4061)
    else:
        index = draws.gauss(0.6784, 0.2046)
    return min(max(index, 0.05), 0.95)


def draw_clear_index(draws: random.Random) -> float:
    """Clear-sky index of clear air in an hour [1], 0.8 to 1.15.

    Parameters
    ----------
    draws : random.Random
        Where the chance comes from.
    """
    return min(max(draws.gauss(CLEAR_MEAN, CLEAR_SPREAD), 0.8), 1.15)


def draw_cloud_length_m(draws: random.Random) -> float:
    """Length of one cloud along the wind [m], 100 to 1e6, by a power law with exponent -1.66.

    Parameters
    ----------
    draws : random.Random
        Where the chance comes from.
    """
    length_km: float = (_LENGTH_SHORT + draws.random() * _LENGTH_SPAN) ** (1.0 / _LENGTH_POWER)
    return 1000.0 * length_km


def cover_minutes(draws: random.Random, cover: float) -> list[float]:
    """Share of each of sixty minutes that lies under cloud [1]; their mean is the cover.

    Parameters
    ----------
    draws : random.Random
        Where the chance comes from.
    cover : float
        Share of the hour under cloud, 0 to 1. [1]
    """
    if cover <= 0.0:
        return [0.0] * 60
    if cover >= 1.0:
        return [1.0] * 60
    left = 60.0 * cover
    drift_m_min = max(1.0, draws.gammavariate(2.69, 2.14)) * 60.0
    clouds: list[float] = []
    while left > 0.0:
        span = min(left, draw_cloud_length_m(draws) / drift_m_min)
        if len(clouds) + 1 == CLOUDS_MOST:
            span = left
        clouds.append(span)
        left -= span
    draws.shuffle(clouds)
    gaps = [draws.expovariate(1.0) for _ in range(len(clouds) + 1)]
    stretch = 60.0 * (1.0 - cover) / sum(gaps)
    shares = [0.0] * 60
    at = 0.0
    for gap, span in zip(gaps, clouds, strict=False):
        at += gap * stretch
        _shade(shares, at, at + span)
        at += span
    return shares


def _shade(shares: list[float], start: float, end: float) -> None:
    """Add a shadow from one moment to another to the minutes it touches [min]."""
    end = min(end, 60.0)
    minute = int(start)
    while minute < 60 and minute < end:
        overlap = min(end, minute + 1.0) - max(start, float(minute))
        shares[minute] = min(1.0, shares[minute] + overlap)
        minute += 1


def spread_hour(draws: random.Random, clear_w_m2: list[float], mean_w_m2: float) -> list[float]:
    """Global irradiance of each minute [W/m2]; the mean of the hour is kept to rounding.

    Parameters
    ----------
    draws : random.Random
        Where the chance comes from.
    clear_w_m2 : list[float]
        Clear-sky irradiance of the sixty minutes, at least 0. [W/m2]
    mean_w_m2 : float
        Mean of the hour; taken as 0 where the clear sky is dark for the whole hour. [W/m2]
    """
    clear_mean = sum(clear_w_m2) / 60.0
    if mean_w_m2 <= 0.0 or clear_mean <= 0.0:
        return [0.0] * 60
    index = mean_w_m2 / clear_mean
    if clear_mean < 5.0:  # twilight: no shadows to cast
        return [index * clear for clear in clear_w_m2]
    clear_index = draw_clear_index(draws)
    likely = min(max((CLEAR_MEAN - index) / 0.45, 0.0), 1.0)
    cloud_index = min(draw_cloud_index(draws, round(8 * likely)), clear_index - 0.1)
    cover = min(max((clear_index - index) / (clear_index - cloud_index), 0.0), 1.0)
    okta = round(8 * cover)
    shares = cover_minutes(draws, cover)
    gauss, random_, log_ = draws.gauss, draws.random, draws.expovariate
    cloud_noise, clear_noise = 0.01 + 0.003 * okta, 0.001 + 0.0015 * okta
    values: list[float] = []
    total, before = 0.0, shares[0]
    for share, clear in zip(shares, clear_w_m2, strict=True):
        value = 0.0
        if share > 0.0:
            value = share * cloud_index * gauss(1.0, cloud_noise)
        if share < 1.0:
            bright = clear_index * gauss(1.0, clear_noise)
            if 0.0 < share < 0.7 or (before > 0.0 and random_() < 0.5):
                bright *= 1.0 + min(EDGE_MOST, log_(1.0 / EDGE_MEAN))
            value += (1.0 - share) * bright
        before = share
        value = max(value, 0.0) * clear
        values.append(value)
        total += value
    scale = 60.0 * mean_w_m2 / total
    return [scale * value for value in values]


def mean_index(draws: random.Random, cover: float) -> float:
    """Clear-sky index an hour of a given cover may have [1], for a sky that invents its own hours.

    Parameters
    ----------
    draws : random.Random
        Where the chance comes from.
    cover : float
        Share of the sky covered, 0 to 1. [1]
    """
    cloud = draw_cloud_index(draws, round(8 * cover))
    return (1.0 - cover) * draw_clear_index(draws) + cover * cloud


def smooth_step(x: float) -> float:
    """Map a standard normal draw to (0, 1) [1], nearly its distribution function (logistic, within 0.01)."""
    return 1.0 / (1.0 + exp(-1.702 * x))
