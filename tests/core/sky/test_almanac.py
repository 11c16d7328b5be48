"""The table of the sun is looked up, searched, summed and packed as promised."""

from __future__ import annotations

import math
import zlib
from array import array

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.sky import almanac as sky
from controller.core.sky.almanac import Almanac
from controller.core.units import DAY_MS, MINUTE_MS

START_MS = 1_750_464_000_000  # 2025-06-21T00:00Z


def make_day(*, days: int = 2, peak_cdeg: int = 6000, offset_cdeg: int = 0) -> Almanac:
    """Make a sine of a sun that is highest at noon and, without offset, on the horizon at 6 and 18 h."""
    heights, light = array("h"), array("H")
    for minute in range(days * 1440 + 1):
        height_cdeg = offset_cdeg - round(peak_cdeg * math.cos(2 * math.pi * minute / 1440))
        heights.append(height_cdeg)
        light.append(max(0, height_cdeg) // 10)
    return Almanac(START_MS, heights, light)


@st.composite
def tables(draw: st.DrawFn) -> Almanac:
    """Draw a short table with any heights and light at all."""
    heights = draw(st.lists(st.integers(-9000, 9000), min_size=1, max_size=30))
    light = draw(st.lists(st.integers(0, 65535), min_size=len(heights), max_size=len(heights)))
    return Almanac(draw(st.integers(-(2**40), 2**42)), array("h", heights), array("H", light))


@st.composite
def tables_and_instants(draw: st.DrawFn, count: int) -> tuple[Almanac, list[int]]:
    """Draw a table and some instants in or near it, in order."""
    almanac = draw(tables())
    near = st.integers(-90_000, len(almanac.sun_height_cdeg) * MINUTE_MS + 90_000)
    instants = sorted(draw(near) for _ in range(count))
    return almanac, [almanac.start_utc_ms + instant for instant in instants]


def test_whole_minutes_give_the_entries() -> None:
    """At a whole minute the lookup gives that minute's entry."""
    almanac = Almanac(START_MS, array("h", [-100, 50, 250]), array("H", [0, 4, 31]))

    assert [sky.sun_height_deg(almanac, START_MS + i * MINUTE_MS) for i in range(3)] == [-1.0, 0.5, 2.5]
    assert [sky.clear_sky_w_m2(almanac, START_MS + i * MINUTE_MS) for i in range(3)] == [0.0, 4.0, 31.0]


def test_between_minutes_the_lookup_is_a_straight_line() -> None:
    """A quarter of a minute on, the value has gone a quarter of the way."""
    almanac = Almanac(START_MS, array("h", [-100, 300]), array("H", [10, 50]))

    assert sky.sun_height_deg(almanac, START_MS + 15_000) == 0.0
    assert sky.clear_sky_w_m2(almanac, START_MS + 15_000) == 20.0


def test_outside_the_table_nothing_is_known() -> None:
    """A millisecond before the first or after the last entry the answer is None."""
    almanac = make_day(days=1)
    last_ms = START_MS + DAY_MS

    assert sky.end_utc_ms(almanac) == last_ms
    for outside_ms in (START_MS - 1, last_ms + 1):
        assert not sky.covers(almanac, outside_ms)
        assert sky.sun_height_deg(almanac, outside_ms) is None
        assert sky.clear_sky_w_m2(almanac, outside_ms) is None
    for inside_ms in (START_MS, last_ms):
        assert sky.covers(almanac, inside_ms)
        assert sky.sun_height_deg(almanac, inside_ms) == -60.0
        assert sky.clear_sky_w_m2(almanac, inside_ms) == 0.0


@given(tables_and_instants(1))
def test_a_lookup_lies_between_its_neighbours(drawn: tuple[Almanac, list[int]]) -> None:
    """Every lookup lies between the two entries around it, and is None just where `covers` says no."""
    almanac, (utc_ms,) = drawn
    height_deg = sky.sun_height_deg(almanac, utc_ms)
    light_w_m2 = sky.clear_sky_w_m2(almanac, utc_ms)

    assert sky.covers(almanac, utc_ms) == (height_deg is not None) == (light_w_m2 is not None)
    if height_deg is not None and light_w_m2 is not None:
        minute = (utc_ms - almanac.start_utc_ms) // MINUTE_MS
        heights = almanac.sun_height_cdeg[minute : minute + 2]
        light = almanac.clear_sky_w_m2[minute : minute + 2]
        assert min(heights) - 1e-6 <= height_deg * 100 <= max(heights) + 1e-6
        assert min(light) - 1e-6 <= light_w_m2 <= max(light) + 1e-6


def test_a_sine_rises_at_six_and_sets_at_eighteen() -> None:
    """The crossings of a sine stand where arithmetic puts them, to the rounding of the heights."""
    almanac = make_day()
    span = {"from_utc_ms": START_MS, "to_utc_ms": START_MS + DAY_MS}
    # The sun moves 60 * 2 pi / 1440 = 0.26 degrees a minute here; 0.005 degrees of rounding are 1.2 s.
    before_six_ms = round(math.asin(0.8333 / 60) / (2 * math.pi) * DAY_MS)

    rise_ms, set_ms = sky.find_sunrise(almanac, **span), sky.find_sunset(almanac, **span)
    assert rise_ms == pytest.approx(START_MS + DAY_MS // 4 - before_six_ms, abs=1_500)
    assert set_ms == pytest.approx(START_MS + DAY_MS * 3 // 4 + before_six_ms, abs=1_500)
    assert rise_ms is not None
    assert set_ms is not None
    assert sky.day_length_ms(almanac, **span) == set_ms - rise_ms


def test_other_heights_can_be_asked_for() -> None:
    """A sun of 60 degrees at its highest passes 30 degrees at 8 and at 16 h."""
    almanac = make_day()
    span = {"from_utc_ms": START_MS, "to_utc_ms": START_MS + DAY_MS}

    assert sky.find_sunrise(almanac, **span, height_deg=30.0) == START_MS + DAY_MS // 3
    assert sky.find_sunset(almanac, **span, height_deg=30.0) == START_MS + DAY_MS * 2 // 3
    assert sky.find_sunrise(almanac, **span, height_deg=60.1) is None


def test_the_next_day_has_its_own_sunrise() -> None:
    """A span that begins after today's sunrise finds tomorrow's."""
    almanac = make_day()
    first_ms = sky.find_sunrise(almanac, from_utc_ms=START_MS, to_utc_ms=START_MS + 2 * DAY_MS)
    assert first_ms is not None

    assert first_ms + DAY_MS == sky.find_sunrise(
        almanac, from_utc_ms=first_ms + 1, to_utc_ms=START_MS + 2 * DAY_MS
    )
    assert first_ms == sky.find_sunrise(almanac, from_utc_ms=first_ms, to_utc_ms=first_ms + 1)
    assert sky.find_sunrise(almanac, from_utc_ms=START_MS, to_utc_ms=first_ms) is None


@pytest.mark.parametrize(("offset_cdeg", "length_ms"), [(3000, DAY_MS), (-3000, 0)])
def test_a_polar_day_or_night_has_no_sunrise(offset_cdeg: int, length_ms: int) -> None:
    """A sun that never crosses the horizon gives None for both crossings, and a day of 24 h or none."""
    almanac = make_day(peak_cdeg=2000, offset_cdeg=offset_cdeg)
    span = {"from_utc_ms": START_MS + 1000, "to_utc_ms": START_MS + 1000 + DAY_MS}

    assert sky.find_sunrise(almanac, **span) is None
    assert sky.find_sunset(almanac, **span) is None
    assert sky.day_length_ms(almanac, **span) == length_ms


def test_the_length_of_a_day_beyond_the_table_is_unknown() -> None:
    """A span the table covers in part gives None, because a part would look like a short day."""
    almanac = make_day(days=1)

    assert sky.day_length_ms(almanac, from_utc_ms=START_MS - 1, to_utc_ms=START_MS + DAY_MS) is None
    assert sky.day_length_ms(almanac, from_utc_ms=START_MS, to_utc_ms=START_MS + DAY_MS + 1) is None
    assert sky.day_length_ms(almanac, from_utc_ms=START_MS + 2, to_utc_ms=START_MS + 1) is None
    assert sky.day_length_ms(almanac, from_utc_ms=START_MS + 1, to_utc_ms=START_MS + 1) == 0


@given(tables_and_instants(2), st.floats(-95, 95))
def test_a_found_crossing_is_one_and_the_first(drawn: tuple[Almanac, list[int]], height_deg: float) -> None:
    """A sunrise found lies in the span, with the sun lower before and not lower after; none comes sooner."""
    almanac, (from_ms, to_ms) = drawn
    span = {"from_utc_ms": from_ms, "to_utc_ms": to_ms}
    for find, sign in ((sky.find_sunrise, 1), (sky.find_sunset, -1)):
        found_ms = find(almanac, **span, height_deg=height_deg)
        if found_ms is not None:
            assert from_ms <= found_ms < to_ms
            # At an entry the line may have a kink, and the instant is rounded to a millisecond.
            if (found_ms - almanac.start_utc_ms) % MINUTE_MS:
                low, high = (sky.sun_height_deg(almanac, found_ms + step_ms) for step_ms in (-1, 1))
                assert low is not None
                assert high is not None
                assert sign * low <= sign * height_deg <= sign * high
            assert find(almanac, from_utc_ms=from_ms, to_utc_ms=found_ms, height_deg=height_deg) is None
        crossed = [
            almanac.start_utc_ms + minute * MINUTE_MS
            for minute in range(len(almanac.sun_height_cdeg) - 1)
            if (almanac.sun_height_cdeg[minute] >= height_deg * 100) == (sign < 0)
            and (almanac.sun_height_cdeg[minute + 1] >= height_deg * 100) == (sign > 0)
        ]
        inside = [ms for ms in crossed if from_ms <= ms and ms + MINUTE_MS < to_ms]
        if inside:
            assert found_ms is not None
            assert found_ms <= inside[0] + MINUTE_MS


@given(tables_and_instants(3), st.floats(-95, 95))
def test_a_span_in_two_parts_has_the_same_first_sunrise(
    drawn: tuple[Almanac, list[int]], height_deg: float
) -> None:
    """Searching a span in two halves finds what searching the whole finds: nothing twice, nothing lost."""
    almanac, (from_ms, middle_ms, to_ms) = drawn
    for find in (sky.find_sunrise, sky.find_sunset):
        whole = find(almanac, from_utc_ms=from_ms, to_utc_ms=to_ms, height_deg=height_deg)
        first = find(almanac, from_utc_ms=from_ms, to_utc_ms=middle_ms, height_deg=height_deg)
        second = find(almanac, from_utc_ms=middle_ms, to_utc_ms=to_ms, height_deg=height_deg)

        assert whole == (second if first is None else first)


@given(tables_and_instants(3), st.floats(-95, 95))
def test_the_lengths_of_two_parts_add_up(drawn: tuple[Almanac, list[int]], height_deg: float) -> None:
    """Sunlit time adds up over neighbouring spans, and with the dark time makes the whole span."""
    almanac, (from_ms, middle_ms, to_ms) = drawn
    upside_down = Almanac(
        almanac.start_utc_ms,
        array("h", [-height for height in almanac.sun_height_cdeg]),
        almanac.clear_sky_w_m2,
    )
    whole = sky.day_length_ms(almanac, from_utc_ms=from_ms, to_utc_ms=to_ms, height_deg=height_deg)
    if whole is None:
        assert not (sky.covers(almanac, from_ms) and sky.covers(almanac, to_ms))
        return
    first = sky.day_length_ms(almanac, from_utc_ms=from_ms, to_utc_ms=middle_ms, height_deg=height_deg)
    second = sky.day_length_ms(almanac, from_utc_ms=middle_ms, to_utc_ms=to_ms, height_deg=height_deg)
    dark = sky.day_length_ms(upside_down, from_utc_ms=from_ms, to_utc_ms=to_ms, height_deg=-height_deg)

    assert first is not None
    assert second is not None
    assert dark is not None
    assert whole == first + second
    level_ms = MINUTE_MS * sum(height == height_deg * 100 for height in almanac.sun_height_cdeg)
    assert to_ms - from_ms - 30 <= whole + dark <= to_ms - from_ms + level_ms + 30


def test_a_steady_sky_sums_to_power_times_time() -> None:
    """800 W/m2 for an hour and a half second are 800 * 3600.5 J/m2."""
    almanac = Almanac(START_MS, array("h", [4000] * 100), array("H", [800] * 100))

    total = sky.clear_sky_sum_j_m2(almanac, from_utc_ms=START_MS + 250, to_utc_ms=START_MS + 3_600_750)
    assert total == pytest.approx(800 * 3600.5, rel=1e-12)


def test_a_half_sine_sums_to_its_integral() -> None:
    """A half sine of peak P over D seconds carries P * D * 2 / pi."""
    light = array("H", [round(60_000 * math.sin(math.pi * minute / 720)) for minute in range(721)])
    almanac = Almanac(START_MS, array("h", [0] * 721), light)

    total = sky.clear_sky_sum_j_m2(almanac, from_utc_ms=START_MS, to_utc_ms=START_MS + DAY_MS // 2)
    assert total == pytest.approx(60_000 * 43_200 * 2 / math.pi, rel=1e-5)


@given(tables_and_instants(3))
def test_sums_of_two_parts_add_up(drawn: tuple[Almanac, list[int]]) -> None:
    """Energy adds up over neighbouring spans, is never negative, and only the covered part counts."""
    almanac, (from_ms, middle_ms, to_ms) = drawn
    whole = sky.clear_sky_sum_j_m2(almanac, from_utc_ms=from_ms, to_utc_ms=to_ms)
    first = sky.clear_sky_sum_j_m2(almanac, from_utc_ms=from_ms, to_utc_ms=middle_ms)
    second = sky.clear_sky_sum_j_m2(almanac, from_utc_ms=middle_ms, to_utc_ms=to_ms)

    assert min(whole, first, second) >= 0
    assert whole == pytest.approx(first + second, rel=1e-9, abs=1e-3)
    assert whole <= max(almanac.clear_sky_w_m2) * (to_ms - from_ms) / 1000 * (1 + 1e-9) + 1e-3
    assert sky.clear_sky_sum_j_m2(almanac, from_utc_ms=to_ms, to_utc_ms=from_ms) == 0


@given(tables())
def test_a_packed_table_comes_back_the_same(almanac: Almanac) -> None:
    """Unpacking what was packed gives an equal table with an equal hash, and the same bytes again."""
    packed = sky.pack(almanac)
    again = sky.unpack(packed)

    assert again == almanac
    assert hash(again) == hash(almanac)
    assert sky.pack(again) == packed


def test_tables_that_differ_anywhere_are_unequal() -> None:
    """A table differs from one with another start, another height or other light."""
    heights, light = array("h", [1, 2]), array("H", [3, 4])
    almanac = Almanac(START_MS, heights, light)

    assert almanac == Almanac(START_MS, array("h", [1, 2]), array("H", [3, 4]))
    assert almanac != Almanac(START_MS + 1, heights, light)
    assert almanac != Almanac(START_MS, array("h", [1, 3]), light)
    assert almanac != Almanac(START_MS, heights, array("H", [3, 5]))


def test_a_name_on_one_line_stands_for_the_table() -> None:
    """The representation names the span and not the ten thousand entries."""
    assert repr(make_day(days=7)) == f"Almanac(start_utc_ms={START_MS}, minutes=10081)"


@given(tables(), st.data())
def test_a_damaged_byte_is_noticed(almanac: Almanac, data: st.DataObject) -> None:
    """Any one byte changed, or any end cut off, is refused with a ValueError."""
    packed = bytearray(sky.pack(almanac))
    cut = data.draw(st.integers(0, len(packed) - 1))
    with pytest.raises(ValueError, match=r"almanac"):
        sky.unpack(bytes(packed[:cut]))
    packed[data.draw(st.integers(0, len(packed) - 1))] ^= data.draw(st.integers(1, 255))
    with pytest.raises(ValueError, match=r"almanac"):
        sky.unpack(bytes(packed))


@given(st.binary(max_size=200))
def test_any_other_bytes_are_refused(noise: bytes) -> None:
    """Bytes that never were a table are refused with a ValueError and nothing else."""
    with pytest.raises(ValueError, match=r"almanac"):
        sky.unpack(noise)


def _seal(minutes: int, body: bytes) -> bytes:
    """Make bytes with a right checksum over wrong contents."""
    fields = (sky._MAGIC, sky._VERSION, START_MS, minutes)
    return sky._HEADER.pack(*fields, sky._checksum(*fields, body)) + body


@pytest.mark.parametrize(
    ("minutes", "body", "words"),
    [
        (2, zlib.compress(bytes(7)), "another number"),
        (2, zlib.compress(bytes(9)), "another number"),
        (2, zlib.compress(bytes(10_000_000)), "another number"),
        (2, zlib.compress(bytes(8)) + b"more", "another number"),
        (2, zlib.compress(bytes(8))[:-1], "another number"),
        (2, b"no zlib stream", "damaged"),
        (0, zlib.compress(b""), "1 to"),
        (2**32 - 1, zlib.compress(bytes(8)), "1 to"),
        (1, zlib.compress(b"\xff\x7f\x00\x00"), "outside"),
    ],
)
def test_wrong_contents_under_a_right_checksum_are_refused(minutes: int, body: bytes, words: str) -> None:
    """A well-sealed table with impossible contents is refused, however much it claims to hold."""
    with pytest.raises(ValueError, match=words):
        sky.unpack(_seal(minutes, body))


def test_another_version_is_refused_by_name() -> None:
    """A later version of the format is refused, and the message says so."""
    packed = bytearray(sky.pack(make_day()))
    packed[len(sky._MAGIC)] = 2
    with pytest.raises(ValueError, match="version 2"):
        sky.unpack(bytes(packed))


@pytest.mark.parametrize(
    ("heights", "light"),
    [
        (array("h", [1]), array("H", [1, 2])),
        (array("h"), array("H")),
        (array("i", [1]), array("H", [1])),
        (array("h", [1]), array("h", [1])),
        (array("h", [9001]), array("H", [1])),
        (array("h", [-9001]), array("H", [1])),
    ],
)
def test_an_impossible_table_is_refused(heights: array[int], light: array[int]) -> None:
    """Arrays that cannot be a sky raise ValueError when the table is built."""
    with pytest.raises(ValueError, match=r"almanac|heights|height"):
        Almanac(START_MS, heights, light)


def test_packed_bytes_do_not_depend_on_the_machine() -> None:
    """The layout is fixed: little-endian heights, then light, under zlib, after a header of 24 bytes."""
    packed = sky.pack(Almanac(1, array("h", [-2, 3]), array("H", [4, 65535])))

    assert packed[:8] == b"DUSKSKY\x01"
    assert packed[8:16] == (1).to_bytes(8, "little")
    assert packed[16:20] == (2).to_bytes(4, "little")
    assert zlib.decompress(packed[24:]) == b"\xfe\xff\x03\x00\x04\x00\xff\xff"
