"""Hostile payloads: any bytes, in any form, are refused or read, quickly and without harm."""

from __future__ import annotations

import json
import sys
import tracemalloc
from math import isfinite
from time import perf_counter

import cbor2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.wire.payload import Form, Refused, Taken, read_payload
from controller.wire.report import read_report

NOW_MS = 1_772_346_600_000
HOSTILE_MS_MAX = 10.0 if sys.gettrace() is None else 100.0
"""Longest time a hostile payload may take [ms]; a tracer, as coverage sets, slows every line tenfold."""

MEMORY_BYTES_MAX = 1_000_000
"""Most memory a hostile payload may claim while it is read, beyond its own bytes. [bytes]"""

GOOD = (
    b"23.41",
    b'{"value": 23.41, "unit": "Cel", "at": "2026-03-01T06:30:00Z", "deep": [[{"a": [1, "\\u00e9"]}]]}',
    b'[{"bn":"a:","bt":1.7e9,"bu":"%","bver":26,"n":"b","v":0.5},{"n":"c","vs":"x","t":-1},{"n":"d","vb":true}]',
    cbor2.dumps(
        [{-2: "a:", -3: 1.7e9, -1: 26, 0: "b", 2: 0.5}, {0: "c", 3: "x", 6: -1}, {0: "d", 8: b"\x00"}]
    ),
    b'{"drawn_percent": 43.2, "moving": true, "limit": "none", "selector": "remote", "command": "1042-0"}',
)


def read(payload: bytes, form: Form, *, words: dict[str, float] | None = None) -> Taken | Refused:
    """Read a payload with everything asked for."""
    return read_payload(
        payload,
        form=form,
        pointer="/value",
        time_pointer="/at" if words is None else None,
        unit_pointer="/unit" if words is None else None,
        senml_name=None if words is None else "a:b",
        now_utc_ms=NOW_MS,
        words=words,
    )


def check_outcome(outcome: Taken | Refused) -> None:
    """Check what must hold of every outcome."""
    if isinstance(outcome, Taken):
        assert isfinite(outcome.value)
        assert type(outcome.value) is float
        assert outcome.unit is None or outcome.unit.isprintable()
        assert outcome.time_utc_ms is None or 0 <= outcome.time_utc_ms < 253_402_300_800_000
    else:
        check_reason(outcome.reason)


def check_reason(reason: str) -> None:
    """Check that a reason reads as part of a sentence: words of ASCII, short, without a full stop."""
    assert 10 <= len(reason) <= 120
    assert reason.isascii()
    assert reason.isprintable()
    assert " " in reason
    assert not reason.endswith(".")
    assert reason.startswith(
        ("the ", "a ", "in ", "drawn_percent ", "moving ", "limit ", "selector ", "command ")
    )


@st.composite
def damaged(draw: st.DrawFn) -> bytes:
    """Draw a good payload with a few bytes changed, cut out or put in."""
    payload = bytearray(draw(st.sampled_from(GOOD)))
    for _ in range(draw(st.integers(0, 4))):
        at = draw(st.integers(0, len(payload)))
        payload[at : at + draw(st.integers(0, 3))] = draw(st.binary(max_size=3))
    return bytes(payload)


@given(payload=st.binary(max_size=200) | damaged(), form=st.sampled_from(Form), switch=st.booleans())
def test_no_bytes_raise_or_give_what_is_not_finite(*, payload: bytes, form: Form, switch: bool) -> None:
    """Any bytes, in any form, give a finite value or a reason in plain words."""
    check_outcome(read(payload, form, words={"on": 1.0, "off": 0.0} if switch else None))


@given(st.binary(max_size=200) | damaged())
def test_no_bytes_make_a_report_raise(payload: bytes) -> None:
    """Any bytes from a motor board give a report or a reason in plain words."""
    report = read_report(payload)

    if isinstance(report, Refused):
        check_reason(report.reason)
    else:
        assert report.drawn_percent is None or 0.0 <= report.drawn_percent <= 100.0


@given(
    st.recursive(
        st.none()
        | st.booleans()
        | st.integers(-(2**64), 2**64 - 1)
        | st.floats()
        | st.text(max_size=6)
        | st.binary(max_size=6),
        lambda inner: (
            st.lists(inner, max_size=4)
            | st.dictionaries(
                st.integers(-8, 12) | st.sampled_from(["bn", "v", "x_", "y"]), inner, max_size=5
            )
        ),
        max_leaves=20,
    )
)
def test_no_cbor_raises(item: object) -> None:
    """Well-formed CBOR of any shape is a pack or refused with a reason in plain words."""
    check_outcome(read(cbor2.dumps(item), Form.SENML))
    check_outcome(read(cbor2.dumps([item]), Form.SENML))


HOSTILE = {
    "ten megabytes of digits": b"1" * 10_000_000,
    "ten megabytes of blanks": b" " * 10_000_000,
    "ten megabytes of JSON": b"[" + b'{"n":"a","v":1},' * 625_000 + b"]",
    "ten megabytes of CBOR": b"\x9a\x00\x98\x96\x80" + b"\x00" * 10_000_000,
    "deep JSON lists": b"[" * 4096,
    "deep JSON objects": b'{"a":' * 800,
    "deep JSON, closed": b"[" * 2048 + b"]" * 2048,
    "JSON of open quotes": b'[[[[[[[[[[[[[[[[["' + b'\\"' * 2030,
    "JSON of quotes": b"[[[[[[[[[[[[[[[[[" + b'"' * 4070,
    "a whole number of 4000 digits": b'{"value":' + b"9" * 4000 + b"}",
    "a fraction of 4000 digits": b'{"value":0.' + b"9" * 4000 + b"e999}",
    "many equal keys": b"{" + b'"a":1,' * 680 + b'"a":1}',
    "many surrogates": b'{"value":"' + b"\\ud800" * 670 + b'"}',
    "deep CBOR lists": b"\x81" * 4096,
    "deep CBOR maps": b"\x81" + b"\xa1\x00" * 2047,
    "deep CBOR tags": b"\x81" + b"\xc6" * 4095,
    "CBOR list of 2^63 - 1": bytes.fromhex("9b7fffffffffffffff"),
    "CBOR list of 2^32, begun": bytes.fromhex("9b0000000100000000") + b"\x00" * 4000,
    "CBOR map of 2^64 - 1": bytes.fromhex("81bbffffffffffffffff"),
    "CBOR map of 2^31, begun": bytes.fromhex("81ba7fffffff") + b"\x00\x01" * 2000,
    "CBOR bytes of 2^62": bytes.fromhex("81a108") + bytes.fromhex("5b4000000000000000"),
    "CBOR text of 2^30": bytes.fromhex("81a100") + bytes.fromhex("7a40000000"),
    "CBOR lists in lists that promise much": b"\x99\x0f\xff" * 1365,
    "CBOR big integer": b"\x81\xa2\x00\x61a\x02\xc2\x59\x0f\xf0" + b"\xff" * 4080,
    "CBOR fraction with a huge exponent": bytes.fromhex("81a200616102c4821b7fffffffffffffff01"),
    "CBOR list that holds itself": bytes.fromhex("d81c81d81d00"),
    "CBOR of 4000 empty lists": b"\x99\x0f\xa0" + b"\x80" * 4000,
    "SenML names that add up": b'[{"bn":"' + b"a" * 2000 + b'","n":"b","v":1}' + b',{"v":1}' * 250 + b"]",
}


@pytest.mark.parametrize("payload", HOSTILE.values(), ids=HOSTILE)
def test_a_hostile_payload_is_refused_quickly_and_cheaply(payload: bytes) -> None:
    """No form spends more than ten milliseconds or a megabyte on refusing an attack."""
    for form in Form:
        took_ms = []
        # The least of several runs, because other programs share the processor.
        for _ in range(5):
            before = perf_counter()
            outcome = read(payload, form)
            took_ms.append((perf_counter() - before) * 1000)
        assert isinstance(outcome, Refused)
        check_reason(outcome.reason)
        assert min(took_ms) < HOSTILE_MS_MAX

        tracemalloc.start()
        read(payload, form)
        _, peak_bytes = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        assert peak_bytes < MEMORY_BYTES_MAX


@given(st.floats(allow_nan=False, allow_infinity=False), st.sampled_from(["Cel", "lx", "mg/L", "\u00b5S/cm"]))
def test_a_reading_comes_back_from_each_form(value: float, unit: str) -> None:
    """Any finite value, written by general libraries in JSON and both kinds of SenML, comes back exactly."""
    # SenML wants the exponent's e in lower case, which is how Python writes it.
    written = json.dumps({"value": value, "unit": unit, "at": NOW_MS})
    pack = json.dumps([{"n": "a", "u": unit, "v": value, "t": NOW_MS / 1000}])
    binary = cbor2.dumps([{0: "a", 1: unit, 2: value, 6: NOW_MS // 1000}])
    expected = Taken(value, unit, NOW_MS)

    assert expected == read(written.encode(), Form.JSON)
    assert expected == read(pack.encode(), Form.SENML)
    assert expected == read(binary, Form.SENML)
