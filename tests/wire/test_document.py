"""JSON documents, pointers and times, strictly."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.wire.document import DEPTH_MAX, find_pointer_fault, find_value, read_document, to_instant_ms
from controller.wire.payload import Form, Refused, Taken, read_payload
from controller.wire.refusal import Unreadable

# RFC 6901 section 5: the document and its pointers.
RFC_6901_DOCUMENT = rb"""{
    "foo": ["bar", "baz"],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    "k\"l": 6,
    " ": 7,
    "m~n": 8
}"""


def read(
    payload: bytes,
    pointer: str | None = "/value",
    *,
    time_pointer: str | None = None,
    unit_pointer: str | None = None,
    words: dict[str, float] | None = None,
) -> Taken | Refused:
    """Read a payload of the JSON form."""
    return read_payload(
        payload,
        form=Form.JSON,
        pointer=pointer,
        time_pointer=time_pointer,
        unit_pointer=unit_pointer,
        senml_name=None,
        now_utc_ms=0,
        words=words,
    )


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("", json.loads(RFC_6901_DOCUMENT)),
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_the_pointers_of_rfc_6901_section_5(pointer: str, value: object) -> None:
    """Every pointer of RFC 6901 section 5 finds the value printed there."""
    assert value == find_value(read_document(RFC_6901_DOCUMENT), pointer, "value")


def test_tilde_one_is_unescaped_before_tilde_zero() -> None:
    """RFC 6901 section 4: ~01 means the key ~1, never a slash."""
    assert find_value({"~1": 5, "/": 6}, "/~01", "value") == 5


@pytest.mark.parametrize(
    "pointer",
    [
        "/foo/00",
        "/foo/01",
        "/foo/-1",
        "/foo/+1",
        "/foo/ 1",
        "/foo/1 ",
        "/foo/-",
        "/foo/-/0",
        "/foo/2",
        "/foo/\u0661",
        "/foo/0/0",
        "/foo/1e0",
        "/foo/" + "9" * 5000,
        "/nothing",
        "//",
        "/ /0",
    ],
)
def test_a_pointer_to_nothing_is_refused(pointer: str) -> None:
    """RFC 6901 section 4: no leading zeros or signs in an index, and "-" points past the end."""
    assert find_pointer_fault(pointer) is None
    with pytest.raises(Unreadable, match="the document has no value at"):
        find_value(read_document(RFC_6901_DOCUMENT), pointer, "value")


@pytest.mark.parametrize("pointer", ["foo", "foo/0", "/m~n", "/m~", "/m~2", "#/foo", " /foo"])
def test_a_malformed_pointer_is_a_fault(pointer: str) -> None:
    """RFC 6901 section 3: a pointer is empty or starts with a slash, and ~ stands before 0 or 1 only."""
    assert find_pointer_fault(pointer)
    assert Refused("the pointer to value is not a JSON pointer") == read(RFC_6901_DOCUMENT, pointer)


@given(st.dictionaries(st.text(max_size=8), st.integers(-1000, 1000), min_size=1, max_size=6), st.data())
def test_an_escaped_key_finds_its_member(document: dict[str, int], data: st.DataObject) -> None:
    """Any key, escaped as RFC 6901 section 3 says, finds its member."""
    key = data.draw(st.sampled_from(sorted(document)))
    pointer = "/" + key.replace("~", "~0").replace("/", "~1")

    assert document[key] == find_value(document, pointer, "value")


def test_value_unit_and_time_are_taken() -> None:
    """A document with value, unit and time gives all three."""
    payload = b'{"value": 43.2, "unit": "%", "at": "2026-03-01T07:30:00.250+01:00"}'

    assert Taken(43.2, "%", 1_772_346_600_250) == read(payload, time_pointer="/at", unit_pointer="/unit")


def test_without_a_pointer_the_document_is_the_value() -> None:
    """JSON that is nothing but a number needs no pointer."""
    assert Taken(-4.5, None, None) == read(b" -4.5\n", None)
    assert Taken(7.0, None, None) == read(b"7", "")


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", "the payload is not JSON (at character 0)"),
        (b'{"value": 1', "the payload is not JSON (at character 11)"),
        (b'{"value": 1} {}', "the payload is not JSON (at character 13)"),
        (b'{"value": 1,}', "the payload is not JSON"),
        (b'{"value": 01}', "the payload is not JSON"),
        (b'{"value": +1}', "the payload is not JSON"),
        (b'{"value": .5}', "the payload is not JSON"),
        (b'{"value": 0x10}', "the payload is not JSON"),
        (b"{'value': 1}", "the payload is not JSON"),
        (b'{"value": 1 /* */}', "the payload is not JSON"),
        (b'{"value": 1, "note": "a\nb"}', "the payload is not JSON"),
        ('{"value": \u0661}'.encode(), "the payload is not JSON"),
        ('{"value": 1\u0661}'.encode(), "the payload is not JSON"),
        ('{"value": 1.\u0665}'.encode(), "the payload is not JSON"),
        (b'\xef\xbb\xbf{"value": 1}', "the payload is not JSON"),
        ('{"value": 1}'.encode("utf-16"), "the payload is not UTF-8 text"),
        (b'{"value": 1, "note": "\xff"}', "the payload is not UTF-8 text"),
        (b'{"value": 1, "note": "\xc0\xaf"}', "the payload is not UTF-8 text"),
        (b'{"value": 1, "note": "\xed\xa0\x80"}', "the payload is not UTF-8 text"),
        (b'{"value": NaN}', "the document holds NaN or Infinity"),
        (b'{"value": 1, "other": -Infinity}', "the document holds NaN or Infinity"),
        (b'{"value": 1e999}', "the document holds a number that is too large"),
        (b'{"value": 1, "other": -1e999}', "the document holds a number that is too large"),
        (b'{"value": 1' + b"0" * 400 + b"}", "the value is too large"),
        (b'{"value": 1, "value": 2}', "the document has a key twice in one object"),
        (b'{"value": 1, "v\\u0061lue": 2}', "the document has a key twice in one object"),
        (b'{"value": 1, "x": [{"y": 1, "y": 1}]}', "the document has a key twice in one object"),
        (b'{"value": true}', "the value is true or false where a number belongs"),
        (b'{"value": false}', "the value is true or false where a number belongs"),
        (b'{"value": null}', "the value is not a number"),
        (b'{"value": "1"}', "the value is not a number"),
        (b'{"value": [1]}', "the value is not a number"),
        (b'{"val": 1}', "the document has no value at /value"),
        (b"[1]", "the document has no value at /value"),
        (b"1", "the document has no value at /value"),
        (b'"value"', "the document has no value at /value"),
        (b'{"value": 1, "note": "\\ud800"}', "the document holds half of a surrogate pair"),
        (b'{"value": 1, "\\uDFFF": 2}', "the document holds half of a surrogate pair"),
        (b'{"value": 1, "note": "\\ude00\\ud83d"}', "the document holds half of a surrogate pair"),
        (b'{"value": 1}' + b" " * 4085, "the payload is longer than 4096 bytes"),
    ],
)
def test_a_document_that_is_not_strict_json_is_refused(payload: bytes, reason: str) -> None:
    """What RFC 8259 does not allow, or readers differ on, is refused with the reason."""
    refused = read(payload)

    assert isinstance(refused, Refused)
    assert refused.reason.startswith(reason)


def test_whole_surrogate_pairs_and_odd_text_are_no_harm() -> None:
    """A proper pair, an escaped backslash before "ud800" and 4096 bytes are all within the rules."""
    assert Taken(1.0, None, None) == read(b'{"value": 1, "note": "\\ud83d\\ude00 \\\\ud800"}')
    assert Taken(1.0, None, None) == read(b'{"value": 1}' + b" " * 4084)


@pytest.mark.parametrize(("opening", "closing"), [(b"[", b"]"), (b'{"a":', b"}")])
def test_depth_is_bounded(opening: bytes, closing: bytes) -> None:
    """Nesting up to the limit is read; one level more is refused, also when it is never closed."""
    deepest = opening * DEPTH_MAX + b"1" + closing * DEPTH_MAX
    deeper = opening * (DEPTH_MAX + 1) + b"1" + closing * (DEPTH_MAX + 1)

    assert json.loads(deepest) == read_document(deepest)
    assert Refused("the document is nested deeper than 16") == read(deeper)
    assert Refused("the document is nested deeper than 16") == read(opening * 500)


def test_brackets_side_by_side_or_in_text_are_no_depth() -> None:
    """Only nesting counts: many flat lists, or brackets inside a text, are read."""
    payload = b'{"value": 1, "flat": [' + b"[],{}," * 100 + b'[]], "text": "[[[[[[[[[[[[[[[[[[\\"[[{{"}'

    assert Taken(1.0, None, None) == read(payload)


@pytest.mark.parametrize(
    ("value", "instant_ms"),
    [
        # RFC 3339 section 5.8.
        ("1985-04-12T23:20:50.52Z", 482_196_050_520),
        ("1996-12-19T16:39:57-08:00", 851_042_397_000),
        ("1937-01-01T12:00:27.87+00:20", None),
        # RFC 8428 section 4.5.3: 2^28 seconds.
        ("1978-07-04T21:24:16Z", 268_435_456_000),
        ("1978-07-04 21:24:16z", 268_435_456_000),
        ("2026-03-01T06:30Z", 1_772_346_600_000),
        ("2026-03-01T06:30:00.123456789Z", 1_772_346_600_123),
        (0, 0),
        (1772346600, 1_772_346_600_000),
        (1772346600.25, 1_772_346_600_250),
        (1772346600250, 1_772_346_600_250),
    ],
)
def test_a_time_is_iso_text_or_a_unix_number(value: object, instant_ms: int | None) -> None:
    """ISO 8601 with an offset and Unix numbers give UTC; a time before 1970 is refused."""
    if instant_ms is None:
        with pytest.raises(Unreadable, match="before 1970"):
            to_instant_ms(value)
    else:
        assert instant_ms == to_instant_ms(value)


@pytest.mark.parametrize(
    "value",
    [
        "",
        "now",
        "2026-03-01",
        "2026-03-01T06:30:00",
        "2026-02-30T06:30:00Z",
        "2026-03-01T25:00:00Z",
        "2026-03-01T06:30:00+25:00",
        "20260301T063000Z",
        "2026-W09-7T06:30:00Z",
        "2026-03-01T06:30:00Z ",
        "\u0662026-03-01T06:30:00Z",
        "2026-03-01T06:30:61Z",
        "0000-01-01T00:00:00Z",
        "06:30:00Z",
        -1,
        1e300,
        True,
        None,
        [],
        10**400,
    ],
)
def test_a_time_that_is_no_instant_is_refused(value: object) -> None:
    """A time without an offset, off the calendar or out of range gives no instant."""
    with pytest.raises(Unreadable):
        to_instant_ms(value)


@given(
    st.datetimes(min_value=datetime(1970, 1, 3), max_value=datetime(9999, 12, 29)),  # noqa: DTZ001 - zoned below
    st.integers(-23 * 60, 23 * 60),
)
def test_a_written_instant_comes_back(naive: datetime, offset_min: int) -> None:
    """Any instant, written with any offset, comes back to the millisecond."""
    written = naive.replace(tzinfo=timezone(timedelta(minutes=offset_min)))
    elapsed = written - datetime(1970, 1, 1, tzinfo=UTC)

    assert elapsed // timedelta(milliseconds=1) == to_instant_ms(written.isoformat())


@pytest.mark.parametrize(
    ("payload", "value"),
    [(b"true", 1.0), (b"false", 0.0), (b'"shut"', 0.0), (b'"leak"', 1.0), (b"1", 1.0), (b"0.0", 0.0)],
)
def test_a_switch_in_json(payload: bytes, value: float) -> None:
    """A switch in JSON is true or false, one of its words, or 0 or 1."""
    words = {"leak": 1.0, "shut": 0.0}

    assert Taken(value, None, None) == read(b'{"value": %s}' % payload, words=words)


@pytest.mark.parametrize("payload", [b"2", b"0.5", b'"1"', b'"LEAK"', b"null", b"[]", b"{}"])
def test_a_switch_in_json_takes_nothing_else(payload: bytes) -> None:
    """Anything else at a switch's pointer is refused."""
    assert isinstance(read(b'{"value": %s}' % payload, words={"leak": 1.0}), Refused)


@pytest.mark.parametrize("unit", [b"5", b"null", b'""', b'"a\\u0000"', b'"' + b"x" * 33 + b'"', b'["C"]'])
def test_a_unit_is_short_printable_text(unit: bytes) -> None:
    """What stands at the unit's pointer is a short printable text, or the reading is refused."""
    refused = read(b'{"value": 1, "unit": %s}' % unit, unit_pointer="/unit")

    assert Refused("the unit is not text of 1 to 32 printable characters") == refused


def test_a_pointer_that_is_given_must_find_something() -> None:
    """A reading without the unit or time that the settings name is refused, not half taken."""
    assert Refused("the document has no unit at /u") == read(b'{"value": 1}', unit_pointer="/u")
    assert Refused("the document has no time at /t") == read(b'{"value": 1}', time_pointer="/t")


_SCALARS = (
    st.none()
    | st.booleans()
    | st.integers(-(2**60), 2**60)
    | st.floats(allow_nan=False, allow_infinity=False)
)
_DOCUMENTS = st.recursive(
    _SCALARS | st.text(max_size=10),
    lambda children: (
        st.lists(children, max_size=4) | st.dictionaries(st.text(max_size=5), children, max_size=4)
    ),
    max_leaves=12,
)


@given(document=_DOCUMENTS, ascii_only=st.booleans())
def test_any_proper_document_is_read_as_the_standard_library_reads_it(
    *, document: object, ascii_only: bool
) -> None:
    """Strictness refuses no proper document: what `json.dumps` writes comes back the same."""
    payload = json.dumps(document, ensure_ascii=ascii_only).encode()

    assert json.loads(payload) == read_document(payload)
