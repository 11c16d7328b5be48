"""Plain numbers, strictly ASCII."""

from __future__ import annotations

from math import isfinite

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.wire.payload import Form, Refused, Taken, read_payload


def read(payload: bytes, words: dict[str, float] | None = None) -> Taken | Refused:
    """Read a payload of the number form."""
    return read_payload(
        payload,
        form=Form.NUMBER,
        pointer=None,
        time_pointer=None,
        unit_pointer=None,
        senml_name=None,
        now_utc_ms=0,
        words=words,
    )


@pytest.mark.parametrize(
    ("payload", "value"),
    [
        (b"0", 0.0),
        (b"23.41", 23.41),
        (b"-0.5", -0.5),
        (b"1e3", 1000.0),
        (b"2.5E-2", 0.025),
        (b"1E+2", 100.0),
        (b"007", 7.0),
        (b"999999999999.999999999999", 1e12),
    ],
)
def test_a_plain_number_is_taken(payload: bytes, value: float) -> None:
    """A plain ASCII number becomes its value, without unit or time."""
    assert Taken(value, None, None) == read(payload)


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b" ",
        b" 1",
        b"1 ",
        b"1\n",
        b"\t1",
        b"+1",
        b".5",
        b"5.",
        b"1_0",
        b"1,5",
        b"0x10",
        b"nan",
        b"NaN",
        b"inf",
        b"-Infinity",
        b"true",
        b"--1",
        b"1e",
        b"1e1000",
        b"1234567890123",
        b"1.1234567890123",
        "\u0967\u0968".encode(),  # Devanagari one two: Python's float takes them
        "\uff11".encode(),  # full-width one
        "\u2212 1".encode(),  # a minus sign that is not ASCII
        b"1\x00",
        b"\xff\xfe1\x00",
        b"\xef\xbb\xbf1",
    ],
)
def test_what_is_no_plain_number_is_refused(payload: bytes) -> None:
    """Whatever is not a plain ASCII number is refused, even where Python's float takes it."""
    assert Refused("the payload is not a plain number") == read(payload)


def test_a_number_past_the_largest_double_is_refused() -> None:
    """1e999 has the form of a number and no finite value."""
    assert Refused("the number is too large") == read(b"1e999")
    assert Refused("the number is too large") == read(b"-9e308".replace(b"9e", b"99e"))


@given(st.floats(min_value=-1e11, max_value=1e11))
def test_a_printed_float_comes_back(value: float) -> None:
    """Twelve decimals of any reading come back as Python reads them."""
    text = f"{value:.12f}"

    assert Taken(float(text), None, None) == read(text.encode())


@given(st.binary(max_size=40) | st.text(alphabet="0123456789.eE+-naif_ \n", max_size=12).map(str.encode))
def test_no_bytes_raise_or_give_what_is_not_finite(payload: bytes) -> None:
    """Any bytes give a finite value or a reason, and a value only where Python's own float agrees."""
    match read(payload):
        case Taken(value=value, unit=None, time_utc_ms=None):
            assert isfinite(value)
            assert float(payload) == value
        case Refused(reason=reason):
            assert reason
        case other:
            pytest.fail(f"unexpected {other}")


@pytest.mark.parametrize(
    ("payload", "value"),
    [(b"on", 1.0), (b"off", 0.0), (b"1", 1.0), (b"0", 0.0), (b"1.0", 1.0), (b"LEAK!", 1.0)],
)
def test_a_switch_speaks_its_words_or_0_and_1(payload: bytes, value: float) -> None:
    """The payload of a switch is one of its words, or 0 or 1."""
    assert Taken(value, None, None) == read(payload, {"on": 1.0, "off": 0.0, "LEAK!": 1.0})


@pytest.mark.parametrize(
    "payload", [b"ON", b" on", b"on\n", b"2", b"0.5", b"-1", b"1e999", b"", "\u00f6n".encode()]
)
def test_a_switch_takes_nothing_else(payload: bytes) -> None:
    """A switch's word matches exactly, and its number is 0 or 1."""
    assert isinstance(read(payload, {"on": 1.0, "off": 0.0, "\u00f6n": 1.0}), Refused)


def test_a_word_without_a_finite_meaning_is_refused() -> None:
    """Even settings that give a word no finite meaning yield no such value."""
    assert Refused("the word's meaning is not a finite number") == read(b"on", {"on": float("nan")})
