"""SenML packs against the examples of RFC 8428 and the rules of RFC 8428 and RFC 9100."""

from __future__ import annotations

import json

import cbor2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.wire.payload import Form, Refused, Taken, read_payload
from controller.wire.refusal import Unreadable
from controller.wire.senml import Record, read_pack, settle_time_ms

NOW_MS = 1_772_346_600_000
OW = "urn:dev:ow:10e2073a01080063"

# RFC 8428 section 5.1.1, single datapoint.
SINGLE = b"""[
  {"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}
]"""

# RFC 8428 section 5.1.2, multiple datapoints: "now", and over five seconds.
SEVERAL_NOW = b"""[
  {"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
  {"n":"current","u":"A","v":1.2}
]"""
SEVERAL = b"""[
  {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,
   "bu":"A","bver":5,
   "n":"voltage","u":"V","v":120.1},
  {"n":"current","t":-5,"v":1.2},
  {"n":"current","t":-4,"v":1.3},
  {"n":"current","t":-3,"v":1.4},
  {"n":"current","t":-2,"v":1.5},
  {"n":"current","t":-1,"v":1.6},
  {"n":"current","v":1.7}
]"""

# RFC 8428 section 6, the same pack in CBOR.
SEVERAL_CBOR = bytes.fromhex(
    "87a721781b75726e3a6465763a6f773a3130653230373361303130383030363a22fb41d303a15b00106223614120050067766f"
    "6c7461676501615602fb405e066666666666a3006763757272656e74062402fb3ff3333333333333a3006763757272656e7406"
    "2302fb3ff4cccccccccccda3006763757272656e74062202fb3ff6666666666666a3006763757272656e74062102f93e00a300"
    "6763757272656e74062002fb3ff999999999999aa3006763757272656e74060002fb3ffb333333333333"
)

# RFC 8428 section 5.1.3, multiple measurements.
MOVING = b"""[
  {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,
   "bu":"%RH","v":20},
  {"u":"lon","v":24.30621},
  {"u":"lat","v":60.07965},
  {"t":60,"v":20.3},
  {"u":"lon","t":60,"v":24.30622},
  {"u":"lat","t":60,"v":60.07965},
  {"t":120,"v":20.7},
  {"u":"lon","t":120,"v":24.30623},
  {"u":"lat","t":120,"v":60.07966},
  {"u":"%EL","t":150,"v":98},
  {"t":180,"v":21.2},
  {"u":"lon","t":180,"v":24.30628},
  {"u":"lat","t":180,"v":60.07967}
]"""

# RFC 8428 section 5.1.4, the same pack resolved.
MOVING_RESOLVED = b"""[
  {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067464e+09,
   "v":20},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067464e+09,
   "v":24.30621},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067464e+09,
   "v":60.07965},
  {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067524e+09,
   "v":20.3},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067524e+09,
   "v":24.30622},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067524e+09,
   "v":60.07965},
  {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067584e+09,
   "v":20.7},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067584e+09,
   "v":24.30623},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067584e+09,
   "v":60.07966},
  {"n":"urn:dev:ow:10e2073a01080063","u":"%EL","t":1.320067614e+09,
   "v":98},
  {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067644e+09,
   "v":21.2},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067644e+09,
   "v":24.30628},
  {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067644e+09,
   "v":60.07967}
]"""

# RFC 8428 section 5.1.5, multiple data types.
TYPES = b"""[
  {"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
  {"n":"label","vs":"Machine Room"},
  {"n":"open","vb":false},
  {"n":"nfc-reader","vd":"aGkgCg"}
]"""

# RFC 8428 section 5.1.6, collection of resources.
COLLECTION = b"""[
  {"bn":"2001:db8::2/","bt":1.320078429e+09,
   "n":"temperature","u":"Cel","v":25.2},
  {"n":"humidity","u":"%RH","v":30},
  {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
  {"n":"humidity","u":"%RH","v":67}
]"""

# RFC 8428 section 5.1.7, setting an actuator.
ACTUATOR = b"""[
  {"bn":"urn:dev:ow:10e2073a01080063:"},
  {"n":"temp","u":"Cel","v":23.1},
  {"n":"heat","u":"/","v":1},
  {"n":"fan","u":"/","v":0}
]"""


def read(
    payload: bytes, senml_name: str | None = None, words: dict[str, float] | None = None
) -> Taken | Refused:
    """Read a payload of the SenML form."""
    return read_payload(
        payload,
        form=Form.SENML,
        pointer=None,
        time_pointer=None,
        unit_pointer=None,
        senml_name=senml_name,
        now_utc_ms=NOW_MS,
        words=words,
    )


def reason(payload: bytes, senml_name: str | None = None) -> str:
    """Read a payload that is refused, and say why."""
    refused = read(payload, senml_name)
    assert isinstance(refused, Refused)
    return refused.reason


def test_a_single_datapoint() -> None:
    """RFC 8428 section 5.1.1: one temperature, roughly now."""
    assert Taken(23.1, "Cel", None) == read(SINGLE)
    assert Taken(23.1, "Cel", None) == read(SINGLE, OW)


def test_several_datapoints_now() -> None:
    """RFC 8428 section 5.1.2, first example: base name and name together pick the record."""
    assert Taken(120.1, "V", None) == read(SEVERAL_NOW, OW + ":voltage")
    assert Taken(1.2, "A", None) == read(SEVERAL_NOW, OW + ":current")
    assert reason(SEVERAL_NOW) == "the pack holds 2 values and no name is configured to pick one"
    assert reason(SEVERAL_NOW, "current") == "the pack holds no value of the configured name"


@pytest.mark.parametrize("payload", [SEVERAL, SEVERAL_CBOR], ids=["json", "cbor"])
def test_several_datapoints_over_time(payload: bytes) -> None:
    """RFC 8428 sections 5.1.2 and 6: seven records, the same in JSON and in CBOR."""
    base_s = 1276020076.001
    name = "urn:dev:ow:10e2073a0108006:"
    expected = (
        Record(name + "voltage", "V", 120.1, base_s),
        *(
            Record(name + "current", "A", value, base_s + t)
            for t, value in zip(range(-5, 1), (1.2, 1.3, 1.4, 1.5, 1.6, 1.7), strict=True)
        ),
    )

    assert expected == read_pack(payload)
    # "Tue Jun 8 18:01:16.001 UTC 2010", as the text above the example says.
    assert Taken(120.1, "V", 1_276_020_076_001) == read(payload, name + "voltage")


def test_of_several_records_of_one_name_the_newest_counts() -> None:
    """A pack may carry the last seconds; the reading is the newest, wherever it stands."""
    name = "urn:dev:ow:10e2073a0108006:current"
    turned = json.dumps([json.loads(SEVERAL)[0], *reversed(json.loads(SEVERAL)[1:])]).encode()

    assert Taken(1.7, "A", 1_276_020_076_001) == read(SEVERAL, name)
    assert Taken(1.7, "A", 1_276_020_076_001) == read(turned, name)
    assert Taken(2.0, None, None) == read(b'[{"n":"a","v":1},{"n":"a","v":2},{"n":"a","v":3,"t":-1}]', "a")
    assert Taken(3.0, None, None) == read(b'[{"n":"a","v":1,"t":1.7e9},{"n":"a","v":3}]', "a")


def test_the_resolved_pack_is_the_printed_one() -> None:
    """RFC 8428 sections 5.1.3 and 5.1.4: the pack resolves to the thirteen records printed there."""
    expected = tuple(
        Record(item["n"], item["u"], item["v"], item["t"]) for item in json.loads(MOVING_RESOLVED)
    )

    assert len(expected) == 13
    assert expected == read_pack(MOVING)
    assert expected == read_pack(MOVING_RESOLVED)


def test_every_data_type() -> None:
    """RFC 8428 section 5.1.5: number, text, truth and data."""
    assert tuple(record.name.removeprefix(OW + ":") for record in read_pack(TYPES)) == (
        "temp",
        "label",
        "open",
        "nfc-reader",
    )
    assert read_pack(TYPES)[2].value is False
    # "aGkgCg" is base64url of "hi" and a newline.
    assert tuple(record.value for record in read_pack(TYPES)) == (23.1, "Machine Room", False, b"hi \n")
    assert Taken(23.1, "Cel", None) == read(TYPES, OW + ":temp")
    assert reason(TYPES, OW + ":label") == "the value is not a number"
    assert reason(TYPES, OW + ":open") == "the value is true or false where a number belongs"
    assert reason(TYPES, OW + ":nfc-reader") == "the value is not a number"


def test_a_switch_in_senml() -> None:
    """For a switch, a truth is 1 or 0, a text one of its words, a ratio 0 or 1."""
    words = {"Machine Room": 1.0}

    assert Taken(0.0, None, None) == read(TYPES, OW + ":open", words)
    assert Taken(1.0, None, None) == read(TYPES, OW + ":label", words)
    assert Taken(1.0, "/", None) == read(ACTUATOR, OW + ":heat", words)
    assert Refused("the value of a switch is neither 0 nor 1") == read(ACTUATOR, OW + ":temp", words)


def test_base_fields_last_until_the_next_of_their_own() -> None:
    """RFC 8428 section 5.1.6: the last record has the third's base name and the first's base time."""
    base_s = 1320078429.0

    assert (
        Record("2001:db8::2/temperature", "Cel", 25.2, base_s),
        Record("2001:db8::2/humidity", "%RH", 30.0, base_s),
        Record("2001:db8::1/temperature", "Cel", 12.3, base_s),
        Record("2001:db8::1/humidity", "%RH", 67.0, base_s),
    ) == read_pack(COLLECTION)
    # "Mon Oct 31 16:27:09 UTC 2011", as the text above the example says.
    assert Taken(67.0, "%RH", 1_320_078_429_000) == read(COLLECTION, "2001:db8::1/humidity")


def test_a_record_of_base_fields_alone_measures_nothing() -> None:
    """RFC 8428 section 5.1.7 opens with a base name alone; three records follow."""
    assert tuple(record.name.removeprefix(OW + ":") for record in read_pack(ACTUATOR)) == (
        "temp",
        "heat",
        "fan",
    )
    assert reason(b'[{"bn":"a","bv":20}]') == "the pack holds no value"
    assert reason(b"[]") == "the pack holds no value"


def test_base_value_and_base_sum_are_added() -> None:
    """RFC 8428 section 4.5.4: values and sums add to their bases, and a missing one is zero."""
    payload = b'[{"bn":"a","bv":20,"bs":100,"v":0.5},{"v":-1,"s":5,"ut":60},{"s":7},{"vs":"x"}]'

    assert (
        Record("a", None, 20.5, 0.0, 100.0),
        Record("a", None, 19.0, 0.0, 105.0, 60.0),
        Record("a", None, None, 0.0, 107.0),
        Record("a", None, "x", 0.0, 100.0),
    ) == read_pack(payload)


def test_percent_is_a_ratio() -> None:
    """RFC 8428 section 12.1, note 1: "%" is the ratio 0 to 1, so it is reported by its better name."""
    assert Taken(0.43, "/", None) == read(b'[{"n":"a","u":"%","v":0.43}]')
    assert Taken(0.43, "/", None) == read(b'[{"n":"a","bu":"%","v":0.43}]')
    assert Taken(43.0, "%RH", None) == read(b'[{"n":"a","bu":"%","u":"%RH","v":43}]')


@pytest.mark.parametrize(
    ("time_s", "instant_ms"),
    [
        (0.0, None),
        (-5.0, NOW_MS - 5_000),
        (-0.25, NOW_MS - 250),
        # RFC 8428 section 4.5.3: from 2^28 = 268 435 456 on, time is absolute.
        (268_435_456.0, 268_435_456_000),
        (1_276_020_076.001, 1_276_020_076_001),
    ],
)
def test_time_is_relative_below_two_to_the_28(time_s: float, instant_ms: int | None) -> None:
    """RFC 8428 section 4.5.3: small times count from now, large ones from 1970."""
    assert instant_ms == settle_time_ms(time_s, now_utc_ms=NOW_MS)


@pytest.mark.parametrize("time_s", [0.001, 1.0, 268_435_455.0])
def test_a_time_ahead_of_now_is_no_reading(time_s: float) -> None:
    """A positive relative time asks for an action in the future (RFC 8428 section 4.9): refused."""
    with pytest.raises(Unreadable, match="lies in the future"):
        settle_time_ms(time_s, now_utc_ms=NOW_MS)
    assert "lies in the future" in reason(b'[{"n":"a","v":1,"t":%r}]' % time_s)


@pytest.mark.parametrize("time_s", [-1e10, 1e300, -1e300, 253_402_300_800.0])
def test_a_time_out_of_range_is_refused(time_s: float) -> None:
    """A time before 1970 or past the year 9999 gives no instant."""
    with pytest.raises(Unreadable, match="before 1970 or past the year 9999"):
        settle_time_ms(time_s, now_utc_ms=NOW_MS)


@pytest.mark.parametrize("version", [1, 5, 10, 26])
def test_versions_that_are_understood(version: int) -> None:
    """RFC 8428 section 4.4 and RFC 9100 sections 2 and 4: up to 10, and 26 = 10 + 2^4."""
    assert Taken(1.0, "mg/l", None) == read(b'[{"bver":%d,"n":"a","u":"mg/l","v":1}]' % version)


@pytest.mark.parametrize("version", [11, 12, 16, 24, 27, 42, 58, 2**53, 0, -1])
def test_versions_that_are_not_understood(version: int) -> None:
    """RFC 9100 section 2.2: a feature bit that is not known, such as 42 = 10 + 2^5, refuses the pack."""
    assert "version" in reason(b'[{"bver":%d,"n":"a","v":1}]' % version)


def test_all_records_have_one_version() -> None:
    """RFC 8428 section 4.4: all records of a pack have the same version."""
    assert Taken(1.0, None, None) == read(b'[{"bn":"a","bver":26},{"bver":26,"v":1}]')
    assert Taken(1.0, None, None) == read(b'[{"bn":"a"},{"bver":10,"v":1}]')
    assert reason(b'[{"bn":"a"},{"bver":26,"v":1}]') == "the records of the pack have different versions"


def test_unknown_fields_are_ignored_unless_they_must_be_understood() -> None:
    """RFC 8428 section 4.4: an unknown field is ignored, but one whose label ends in "_" is an error."""
    must = "a record has a field that must be understood and is not"

    assert Taken(1.0, None, None) == read(b'[{"n":"a","v":1,"x":[{"y":{}}],"b_x":null}]')
    assert Taken(1.0, None, None) == read(cbor2.dumps([{0: "a", 2: 1, "x": {"y": [1]}, 99: 1}]))
    assert reason(b'[{"n":"a","v":1,"x_":1}]') == must
    assert reason(b'[{"n":"a","v":1},{"n":"b","v":1,"b_":0}]', "a") == must
    assert reason(cbor2.dumps([{0: "a", 2: 1, "x_": 1}])) == must


@pytest.mark.parametrize(
    ("payload", "expected"),
    [
        (b"", "the payload is no SenML pack"),
        (b'{"n":"a","v":1}', "the payload is no SenML pack"),
        (b"23.1", "the payload is no SenML pack"),
        (b"\xa1\x00\x61a", "the payload is no SenML pack"),
        (b"[1]", "the pack holds something that is no record"),
        (b'[[{"n":"a","v":1}]]', "the pack holds something that is no record"),
        (b'[{"n":"a","v":1},null]', "the pack holds something that is no record"),
        (b'[{"n":"a","v":1,"vs":"x"}]', "a record has more than one value"),
        (b'[{"n":"a"}]', "a record has neither a value nor a sum"),
        (b'[{"n":"a","s":1}]', "the pack holds no value"),
        (b'[{"v":1}]', "a record's name is missing"),
        (b'[{"n":"","v":1}]', "a record's name is missing"),
        (b'[{"n":"_a","v":1}]', "a record's name is missing or has a character"),
        (b'[{"n":"a b","v":1}]', "a record's name is missing or has a character"),
        (b'[{"n":"a\\n","v":1}]', "a record's name is missing or has a character"),
        ('[{"n":"\u00e9","v":1}]'.encode(), "a record's name is missing or has a character"),
        (b'[{"n":1,"v":1}]', "the field n is not text"),
        (b'[{"bn":null,"n":"a","v":1}]', "the field bn is not text"),
        (b'[{"n":"a","u":1,"v":1}]', "the field u is not text"),
        (b'[{"n":"a","bu":[],"v":1}]', "the field bu is not text"),
        (b'[{"n":"a","v":"1"}]', "the field v is not a number"),
        (b'[{"n":"a","v":null}]', "the field v is not a number"),
        (b'[{"n":"a","v":true}]', "the field v is true or false where a number belongs"),
        (b'[{"n":"a","v":NaN}]', "the document holds NaN or Infinity"),
        (b'[{"n":"a","v":1e999}]', "the document holds a number that is too large"),
        (b'[{"n":"a","v":1E2}]', "the document holds an exponent with a capital E"),
        (b'[{"n":"a","bv":1e308,"v":1e308}]', "a base field with its field is not a finite number"),
        (b'[{"n":"a","bt":1e308,"t":1e308,"v":1}]', "a base field with its field is not a finite number"),
        (b'[{"n":"a","v":1,"t":"now"}]', "the field t is not a number"),
        (b'[{"n":"a","v":1,"ut":"1"}]', "the field ut is not a number"),
        (b'[{"n":"a","vs":1}]', "the field vs is not text"),
        (b'[{"n":"a","vb":1}]', "the field vb is neither true nor false"),
        (b'[{"n":"a","vd":"aGk="}]', "the field vd is not base64url without padding"),
        (b'[{"n":"a","vd":"a"}]', "the field vd is not base64url without padding"),
        (b'[{"n":"a","vd":"a+b/"}]', "the field vd is not base64url without padding"),
        (b'[{"n":"a","bver":"10","v":1}]', "the pack's version is not a positive whole number"),
        (b'[{"n":"a","bver":true,"v":1}]', "the pack's version is not a positive whole number"),
        (b'[{"n":"a","u":"\\u0007","v":1}]', "the unit is not text of 1 to 32 printable characters"),
        (b'[{"n":"a","n":"b","v":1}]', "the document has a key twice in one object"),
        (b"  " + SINGLE + b" x", "the payload is not JSON"),
    ],
)
def test_a_pack_that_breaks_a_rule_is_refused(payload: bytes, expected: str) -> None:
    """Each rule of RFC 8428 section 4 that a pack breaks is named."""
    assert reason(payload).startswith(expected)


@pytest.mark.parametrize(
    ("payload", "expected"),
    [
        ("80", "the pack holds no value"),
        ("81", "the CBOR is cut short"),
        ("8000", "the CBOR is followed by more bytes"),
        ("8101", "the pack holds something that is no record"),
        ("81a2006161", "the CBOR is cut short"),
        ("81a200616102", "the CBOR is cut short"),
        ("81a200616102fb4000", "the CBOR is cut short"),
        ("81a2006561", "the CBOR is cut short"),
        ("81a2020100" + "6561", "the CBOR is cut short"),
        ("9fa200616102ff", "the CBOR has an indefinite length or a header that is not well-formed"),
        ("9fff", "the CBOR has an indefinite length or a header that is not well-formed"),
        ("81bf0061610201ff", "the CBOR has an indefinite length or a header that is not well-formed"),
        ("81a2007f6161ff0201", "the CBOR has an indefinite length or a header that is not well-formed"),
        ("9c", "the CBOR has an indefinite length or a header that is not well-formed"),
        ("81a20061610200" + "ff", "the CBOR is followed by more bytes"),
        ("81a3006161020102" + "02", "the CBOR has a key twice in one map"),
        ("81a3006161020118" + "0202", "the CBOR has a key twice in one map"),
        ("81a20061ff0201", "the CBOR has a key twice in one map, or text that is not UTF-8"),
        ("81a200616102f97e00", "the field v is not a finite number"),
        ("81a200616102f97c00", "the field v is not a finite number"),
        ("81a200616102f5", "the field v is true or false where a number belongs"),
        ("81a200616102f6", "the field v is not a number"),
        ("81a200616102f7", "the CBOR has a simple value that is not true, false, null or a float"),
        ("81a200616102f820", "the CBOR has a simple value that is not true, false, null or a float"),
        ("81a200616102c249010000000000000000", "the CBOR has a tag"),
        ("81a200616102c48221196ab3", "the CBOR has a tag"),
        ("81a200616102d81c01", "the CBOR has a tag"),
        ("81a20041610201", "the field n is not text"),
        ("81a24161000201", "the CBOR has a key that is neither a whole number nor text"),
        ("81a2f40061620201", "the CBOR has a key that is neither a whole number nor text"),
        ("81a280000201", "the CBOR has a key that is neither a whole number nor text"),
        ("81a3006161020161760" + "2", "a record has a field twice, as a number and as text"),
    ],
)
def test_cbor_that_breaks_a_rule_is_refused(payload: str, expected: str) -> None:
    """CBOR that RFC 8949 calls not well-formed, or that a reading has no use for, is named."""
    assert reason(bytes.fromhex(payload)).startswith(expected)


def test_depth_of_cbor_is_bounded() -> None:
    """Sixteen levels are read and one more is refused, in lists and in maps."""
    record = "81a30061610201" + "6178"

    # The pack and its record are two levels; the unknown field x holds the rest.
    assert Taken(1.0, None, None) == read(bytes.fromhex(record + "81" * 14 + "00"))
    assert Taken(1.0, None, None) == read(bytes.fromhex(record + "a100" * 14 + "00"))
    assert reason(bytes.fromhex(record + "81" * 15 + "00")) == "the CBOR is nested deeper than 16"
    assert reason(bytes.fromhex(record + "a100" * 15 + "00")) == "the CBOR is nested deeper than 16"


def test_cbor_numbers_of_every_kind() -> None:
    """Whole numbers and floats of every width are numbers (values: RFC 8949 appendix A)."""
    for encoded, value in [
        ("00", 0.0),
        ("17", 23.0),
        ("1864", 100.0),
        ("1903e8", 1000.0),
        ("1a000f4240", 1_000_000.0),
        ("1b000000e8d4a51000", 1e12),
        ("20", -1.0),
        ("3903e7", -1000.0),
        ("f93c00", 1.0),
        ("f9c400", -4.0),
        ("fa47c35000", 100_000.0),
        ("fb3ff199999999999a", 1.1),
    ]:
        assert Taken(value, None, None) == read(bytes.fromhex("81a200616102" + encoded))


_NAMES = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9\-:./_]{0,8}", fullmatch=True)
_NUMBERS = st.floats(min_value=-1e6, max_value=1e6) | st.integers(-(10**6), 10**6)
_LABELS = {
    "bn": -2,
    "bt": -3,
    "bu": -4,
    "bv": -5,
    "bs": -6,
    "bver": -1,
    "n": 0,
    "u": 1,
    "v": 2,
    "s": 5,
    "t": 6,
}
_PACKS = st.lists(
    st.fixed_dictionaries(
        {"n": _NAMES, "v": _NUMBERS},
        optional={
            "bn": _NAMES,
            "bt": st.sampled_from([0, -7.5, 1.7e9]),
            "bu": st.sampled_from(["Cel", "lx", "%"]),
            "bv": _NUMBERS,
            "bs": _NUMBERS,
            "u": st.sampled_from(["Cel", "lx", "/"]),
            "s": _NUMBERS,
            "t": st.sampled_from([0, -1, -30.25]),
        },
    ),
    min_size=1,
    max_size=6,
)


@given(_PACKS)
def test_json_and_cbor_say_the_same(pack: list[dict[str, object]]) -> None:
    """A pack gives the same records from JSON and from CBOR (RFC 8428 section 6: they are equivalent)."""
    labelled = [{_LABELS[label]: value for label, value in record.items()} for record in pack]

    assert read_pack(json.dumps(pack).encode()) == read_pack(cbor2.dumps(labelled))


@given(_PACKS)
def test_resolving_twice_changes_nothing(pack: list[dict[str, object]]) -> None:
    """Resolved records, written as a pack, resolve to themselves (RFC 8428 section 4.6)."""
    records = read_pack(json.dumps(pack).encode())
    written = [
        {"n": record.name, "v": record.value, "t": record.time_s}
        | ({} if record.unit is None else {"u": record.unit})
        | ({} if record.integral is None else {"s": record.integral})
        for record in records
    ]

    assert len(pack) == len(records)
    assert records == read_pack(json.dumps(written).encode())
