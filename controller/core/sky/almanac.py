"""The sun at one site, minute by minute, as a table made beforehand; here it is only looked up.

Reckoning the sun well takes a large library, so it is done now and then in a process of its own and
handed over as a table. Everything the rules ask about the sky is then a lookup: no astronomy here.

Frames and signs: sun height is the angle of the sun's centre above the horizontal plane, without
refraction, positive above. Instants are UTC milliseconds since 1970-01-01.
"""

from __future__ import annotations

import struct
import sys
import zlib
from array import array
from dataclasses import dataclass
from typing import Final

from controller.core.units import MINUTE_MS

# The sun's upper edge touches a sea horizon when its centre stands 50 minutes of arc below it: 34 for
# refraction, 16 for the half diameter. (The Astronomical Almanac, glossary: "sunrise, sunset".)
RISE_SET_HEIGHT_DEG: Final = -0.8333

# Three years and a day. The longest table anyone asks for is a year; a larger count is damage, and
# refusing it keeps a damaged header from claiming the machine's memory.
MINUTES_MAX: Final = 3 * 366 * 1440 + 1

_MAGIC = b"DUSKSKY"
_VERSION = 1
_HEADER = struct.Struct("<7sBqII")  # magic, version, start [ms], minutes, checksum of all but itself


@dataclass(frozen=True, slots=True, repr=False)
class Almanac:
    """Sun height and clear-sky light at one site, one entry a minute from `start_utc_ms`.

    Parameters
    ----------
    start_utc_ms
        Instant of the first entry. [ms]
    sun_height_cdeg
        Height of the sun's centre, without refraction, as an `array("h")`. [hundredths of a degree]
        From -9000 to 9000, positive above the horizon. Not to be changed after it is handed over.
    clear_sky_w_m2
        Global irradiance on a level plane under a cloudless sky, as an `array("H")`. [W/m2]
        Not to be changed after it is handed over.

    Raises
    ------
    ValueError
        The arrays differ in length, are empty or too long, have another element type, or a height is
        impossible.
    """

    start_utc_ms: int
    sun_height_cdeg: array[int]
    clear_sky_w_m2: array[int]

    def __post_init__(self) -> None:
        """Refuse a table that cannot be a sky."""
        if (self.sun_height_cdeg.typecode, self.clear_sky_w_m2.typecode) != ("h", "H"):
            raise ValueError("an almanac holds heights in an array('h') and light in an array('H')")
        minutes = len(self.sun_height_cdeg)
        if minutes != len(self.clear_sky_w_m2):
            raise ValueError(f"{minutes} heights but {len(self.clear_sky_w_m2)} values of light")
        if not 1 <= minutes <= MINUTES_MAX:
            raise ValueError(f"an almanac has 1 to {MINUTES_MAX} minutes, not {minutes}")
        if min(self.sun_height_cdeg) < -9000 or max(self.sun_height_cdeg) > 9000:
            raise ValueError("a sun height lies outside -90 to 90 degrees")

    def __repr__(self) -> str:
        """Name the span only; a week holds ten thousand entries."""
        return f"Almanac(start_utc_ms={self.start_utc_ms}, minutes={len(self.sun_height_cdeg)})"

    def __hash__(self) -> int:
        """Agree with equality without reading the table."""
        return hash((self.start_utc_ms, len(self.sun_height_cdeg)))


def end_utc_ms(almanac: Almanac) -> int:
    """Give the instant of the last entry, the last one covered [ms]."""
    return almanac.start_utc_ms + (len(almanac.sun_height_cdeg) - 1) * MINUTE_MS


def covers(almanac: Almanac, utc_ms: int) -> bool:
    """Whether the table knows this instant; both ends belong to it."""
    return almanac.start_utc_ms <= utc_ms <= end_utc_ms(almanac)


def sun_height_deg(almanac: Almanac, utc_ms: int) -> float | None:
    """Look up the height of the sun's centre, unrefracted, positive above the horizon [deg].

    A straight line between minutes; None outside the table.
    """
    minute, rest_ms = divmod(utc_ms - almanac.start_utc_ms, MINUTE_MS)
    heights = almanac.sun_height_cdeg
    if 0 <= minute < len(heights) - 1:
        low = heights[minute]
        return (low + (heights[minute + 1] - low) * rest_ms / MINUTE_MS) / 100
    if minute == len(heights) - 1 and rest_ms == 0:
        return heights[minute] / 100
    return None


def clear_sky_w_m2(almanac: Almanac, utc_ms: int) -> float | None:
    """Look up the global irradiance on a level plane under a cloudless sky [W/m2].

    Never negative. A straight line between minutes; None outside the table.
    """
    minute, rest_ms = divmod(utc_ms - almanac.start_utc_ms, MINUTE_MS)
    light = almanac.clear_sky_w_m2
    if 0 <= minute < len(light) - 1:
        low = light[minute]
        return low + (light[minute + 1] - low) * rest_ms / MINUTE_MS
    if minute == len(light) - 1 and rest_ms == 0:
        return float(light[minute])
    return None


def find_sunrise(
    almanac: Almanac, *, from_utc_ms: int, to_utc_ms: int, height_deg: float = RISE_SET_HEIGHT_DEG
) -> int | None:
    """Find the first instant in the span at which the sun comes up through `height_deg` [ms].

    Parameters
    ----------
    from_utc_ms, to_utc_ms
        The span; its start belongs to it, its end does not, so that days in a row share no sunrise. [ms]
    height_deg
        Height to pass, without refraction. [deg] By default the usual sunrise.

    Returns
    -------
    int or None
        None when the sun does not come up through it in the part of the span the table covers: in a
        polar day or night, or beyond the table. `covers` tells the two apart.
    """
    limit_cdeg = height_deg * 100
    heights = almanac.sun_height_cdeg
    for minute in _minutes(almanac, from_utc_ms=from_utc_ms, to_utc_ms=to_utc_ms):
        if heights[minute] < limit_cdeg <= heights[minute + 1]:
            found_utc_ms = _crossing_utc_ms(almanac, minute, limit_cdeg)
            if from_utc_ms <= found_utc_ms < to_utc_ms:
                return found_utc_ms
    return None


def find_sunset(
    almanac: Almanac, *, from_utc_ms: int, to_utc_ms: int, height_deg: float = RISE_SET_HEIGHT_DEG
) -> int | None:
    """Find the first instant in the span at which the sun goes down through `height_deg` [ms].

    Parameters and result are those of `find_sunrise`.
    """
    limit_cdeg = height_deg * 100
    heights = almanac.sun_height_cdeg
    for minute in _minutes(almanac, from_utc_ms=from_utc_ms, to_utc_ms=to_utc_ms):
        if heights[minute] >= limit_cdeg > heights[minute + 1]:
            found_utc_ms = _crossing_utc_ms(almanac, minute, limit_cdeg)
            if from_utc_ms <= found_utc_ms < to_utc_ms:
                return found_utc_ms
    return None


def day_length_ms(
    almanac: Almanac, *, from_utc_ms: int, to_utc_ms: int, height_deg: float = RISE_SET_HEIGHT_DEG
) -> int | None:
    """Sum the time within the span that the sun stands above `height_deg` [ms].

    The whole span in a polar day and 0 in a polar night. None when the table does not cover the whole
    span, because a part would look like a short day.
    """
    if not (from_utc_ms <= to_utc_ms and covers(almanac, from_utc_ms) and covers(almanac, to_utc_ms)):
        return None
    limit_cdeg = height_deg * 100
    heights = almanac.sun_height_cdeg
    total_ms = 0
    for minute in _minutes(almanac, from_utc_ms=from_utc_ms, to_utc_ms=to_utc_ms):
        above_from_ms = almanac.start_utc_ms + minute * MINUTE_MS
        above_to_ms = above_from_ms + MINUTE_MS
        before, after = heights[minute] >= limit_cdeg, heights[minute + 1] >= limit_cdeg
        if not before and not after:
            continue
        if not before:
            above_from_ms = _crossing_utc_ms(almanac, minute, limit_cdeg)
        if not after:
            above_to_ms = _crossing_utc_ms(almanac, minute, limit_cdeg)
        total_ms += max(0, min(above_to_ms, to_utc_ms) - max(above_from_ms, from_utc_ms))
    return total_ms


def clear_sky_sum_j_m2(almanac: Almanac, *, from_utc_ms: int, to_utc_ms: int) -> float:
    """Sum the energy a cloudless sky brings to a level plane over the span [J/m2].

    Never negative. Trapezoids between minutes. Only the part of the span that the table covers is counted:
    ask `covers` for both ends where a part would mislead. 0 when the span is empty or turned round.
    """
    low_ms = max(from_utc_ms, almanac.start_utc_ms)
    high_ms = min(to_utc_ms, end_utc_ms(almanac))
    if low_ms >= high_ms:
        return 0.0
    low_w_m2, high_w_m2 = clear_sky_w_m2(almanac, low_ms), clear_sky_w_m2(almanac, high_ms)
    assert low_w_m2 is not None
    assert high_w_m2 is not None
    first = -((almanac.start_utc_ms - low_ms) // MINUTE_MS)  # first whole minute not before the span
    last = (high_ms - almanac.start_utc_ms) // MINUTE_MS  # last whole minute not after it
    if first > last:
        return (low_w_m2 + high_w_m2) / 2 * (high_ms - low_ms) / 1000
    light = almanac.clear_sky_w_m2
    middle_j_m2 = (sum(light[first : last + 1]) - (light[first] + light[last]) / 2) * MINUTE_MS / 1000
    head_ms = almanac.start_utc_ms + first * MINUTE_MS - low_ms
    tail_ms = high_ms - almanac.start_utc_ms - last * MINUTE_MS
    head_j_m2 = (low_w_m2 + light[first]) / 2 * head_ms / 1000
    tail_j_m2 = (high_w_m2 + light[last]) / 2 * tail_ms / 1000
    return head_j_m2 + middle_j_m2 + tail_j_m2


def pack(almanac: Almanac) -> bytes:
    """Turn the table into bytes, the same on every machine, with a version and a checksum."""
    body = zlib.compress(_little_endian(almanac.sun_height_cdeg) + _little_endian(almanac.clear_sky_w_m2))
    fields = (_MAGIC, _VERSION, almanac.start_utc_ms, len(almanac.sun_height_cdeg))
    return _HEADER.pack(*fields, _checksum(*fields, body)) + body


def unpack(packed: bytes) -> Almanac:
    """Rebuild the table that `pack` turned into these bytes.

    Raises
    ------
    ValueError
        The bytes are damaged, cut short, of another version, or never were a table.
    """
    if len(packed) < _HEADER.size:
        raise ValueError("a packed almanac is cut short")
    magic, version, start_utc_ms, minutes, checksum = _HEADER.unpack_from(packed)
    if magic != _MAGIC:
        raise ValueError("these bytes are no packed almanac")
    if version != _VERSION:
        raise ValueError(f"the packed almanac has version {version}, this program reads {_VERSION}")
    body = packed[_HEADER.size :]
    if checksum != _checksum(magic, version, start_utc_ms, minutes, body):
        raise ValueError("the packed almanac is damaged: its checksum does not fit")
    if minutes > MINUTES_MAX:
        raise ValueError(f"an almanac has 1 to {MINUTES_MAX} minutes, not {minutes}")
    reader = zlib.decompressobj()
    try:
        # The limit keeps a small body from unfolding into all of the machine's memory.
        raw = reader.decompress(body, 4 * minutes + 1)
    except zlib.error as error:
        raise ValueError(f"the packed almanac is damaged: {error}") from error
    if len(raw) != 4 * minutes or not reader.eof or reader.unused_data:
        raise ValueError("the packed almanac holds another number of minutes than it says")
    return Almanac(
        start_utc_ms,
        _from_little_endian("h", raw[: 2 * minutes]),
        _from_little_endian("H", raw[2 * minutes :]),
    )


def _minutes(almanac: Almanac, *, from_utc_ms: int, to_utc_ms: int) -> range:
    """Minutes of the table whose following interval touches the span."""
    first = (from_utc_ms - almanac.start_utc_ms) // MINUTE_MS
    last = (to_utc_ms - almanac.start_utc_ms) // MINUTE_MS
    return range(max(0, first), min(len(almanac.sun_height_cdeg) - 1, last + 1))


def _crossing_utc_ms(almanac: Almanac, minute: int, limit_cdeg: float) -> int:
    """Find where the straight line after `minute` meets the limit; its two ends must differ [ms]."""
    low, high = almanac.sun_height_cdeg[minute], almanac.sun_height_cdeg[minute + 1]
    share = (limit_cdeg - low) / (high - low)
    return almanac.start_utc_ms + minute * MINUTE_MS + round(share * MINUTE_MS)


def _little_endian(values: array[int]) -> bytes:
    if sys.byteorder == "big":
        values = array(values.typecode, values)
        values.byteswap()
    return values.tobytes()


def _from_little_endian(typecode: str, raw: bytes) -> array[int]:
    values: array[int] = array(typecode, raw)
    if sys.byteorder == "big":
        values.byteswap()
    return values


def _checksum(magic: bytes, version: int, start_utc_ms: int, minutes: int, body: bytes) -> int:
    return zlib.crc32(body, zlib.crc32(_HEADER.pack(magic, version, start_utc_ms, minutes, 0)))
