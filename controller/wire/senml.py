"""SenML packs, in JSON or CBOR, resolved to records that stand alone.

Sources: RFC 8428 (fields section 4, JSON section 5, CBOR section 6); RFC 9100 for the version as a bitmap and
the feature "secondary units" (version 26 = 10 + 16). Not taken: SensML streams, and decimal fractions in
CBOR (they need a tag).
"""

from __future__ import annotations

import re
from base64 import urlsafe_b64decode
from dataclasses import dataclass
from typing import Final, TypeAlias

from controller.wire.binary import read_binary
from controller.wire.document import check_instant_ms, check_size, read_document
from controller.wire.number import to_number
from controller.wire.refusal import Unreadable

Value: TypeAlias = float | str | bool | bytes

ABSOLUTE_FROM_S: Final = 2.0**28
"""A time below this is relative to now, from here on a Unix time (RFC 8428 section 4.5.3). [s]"""

_VERSION: Final = 10
_SECONDARY_UNITS: Final = 1 << 4
_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")
_BASE64URL: Final = re.compile(r"[A-Za-z0-9_-]*")
_BLANK: Final = b" \t\n\r"

# RFC 8428 section 6, table 4.
_LABEL: Final[dict[object, str]] = {
    -1: "bver",
    -2: "bn",
    -3: "bt",
    -4: "bu",
    -5: "bv",
    -6: "bs",
    0: "n",
    1: "u",
    2: "v",
    3: "vs",
    4: "vb",
    5: "s",
    6: "t",
    7: "ut",
    8: "vd",
}
_KNOWN: Final = frozenset(_LABEL.values())
_VALUES: Final = ("v", "vs", "vb", "vd")
_REGULAR: Final = frozenset({"n", "u", "s", "t", "ut", *_VALUES})


@dataclass(frozen=True, slots=True)
class Record:
    """One resolved record.

    `time_s` is a Unix time, or below 2^28 relative to now: negative is past, 0 is "now, roughly". [s]
    `integral` is the sum over time, in the unit times seconds. `update_s` is the longest time to the next
    record of this name. [s]
    """

    name: str
    unit: str | None
    value: Value | None
    time_s: float
    integral: float | None = None
    update_s: float | None = None


@dataclass(slots=True)
class _Base:
    """The base fields in force at one record of a pack."""

    version: int | None = None
    name: str = ""
    time_s: float = 0.0
    unit: str | None = None
    value: float = 0.0
    integral: float | None = None


def read_pack(payload: bytes) -> tuple[Record, ...]:
    """Read and resolve a pack; its first byte tells JSON from CBOR.

    Raises
    ------
    Unreadable
        When any record of it breaks a rule of RFC 8428: a pack is taken whole or not at all.
    """
    check_size(payload)
    first = payload.lstrip(_BLANK)[:1]
    if first == b"[":
        pack = read_document(payload, lower_exponent=True)
    elif payload and 0x80 <= payload[0] <= 0x9F:
        pack = read_binary(payload)
    else:
        raise Unreadable("the payload is no SenML pack: it starts neither a JSON nor a CBOR array")
    # What starts an array and was read whole is one; this line is for the type checker.
    assert isinstance(pack, list)
    return resolve(pack)


def resolve(pack: list[object]) -> tuple[Record, ...]:
    """Apply the base fields of a pack to each of its records. Records keep their order.

    Raises
    ------
    Unreadable
        When any record of it breaks a rule of RFC 8428.
    """
    base = _Base()
    records: list[Record] = []
    for item in pack:
        if not isinstance(item, dict):
            raise Unreadable("the pack holds something that is no record")
        fields = _label(item)
        _renew(base, fields)
        # A record of base fields alone measures nothing (RFC 8428 section 5.1.7 starts with one).
        if not _REGULAR.isdisjoint(fields):
            records.append(_resolve_record(base, fields))
    return tuple(records)


def pick(records: tuple[Record, ...], name: str | None, *, now_utc_ms: int) -> Record:
    """Pick the record called `name`, the newest if there are several; without a name, the only one.

    Raises
    ------
    Unreadable
        When there is none, or no name is given and there are several.
    """
    measured = [record for record in records if record.value is not None]
    if name is not None:
        measured = [record for record in measured if record.name == name]
    if not measured:
        raise Unreadable("the pack holds no value" + ("" if name is None else " of the configured name"))
    if len(measured) == 1:
        return measured[0]
    if name is None:
        raise Unreadable(f"the pack holds {len(measured)} values and no name is configured to pick one")
    now_s = now_utc_ms / 1000
    # Of equal times the later record wins: it was written last.
    return max(
        reversed(measured),
        key=lambda record: record.time_s + (0.0 if record.time_s >= ABSOLUTE_FROM_S else now_s),
    )


def settle_time_ms(time_s: float, *, now_utc_ms: int) -> int | None:
    """Settle a record's time [s] as UTC [ms since 1970], or None when the source does not know it.

    Raises
    ------
    Unreadable
        When it lies in the future of now (that asks for an action, RFC 8428 section 4.9, and is no
        measurement), before 1970 or past the year 9999.
    """
    if time_s >= ABSOLUTE_FROM_S:
        return check_instant_ms(time_s * 1000)
    if time_s > 0:
        raise Unreadable("the record's time lies in the future: that is a wish, not a reading")
    if time_s == 0:
        return None
    return check_instant_ms(now_utc_ms + time_s * 1000)


def _label(item: dict[object, object]) -> dict[str, object]:
    """Turn CBOR's labels into text and drop unknown fields; refuse those that must be understood."""
    fields: dict[str, object] = {}
    for key, value in item.items():
        label = key if isinstance(key, str) else _LABEL.get(key)
        if label is None:
            continue
        if label in _KNOWN:
            if label in fields:
                raise Unreadable("a record has a field twice, as a number and as text")
            fields[label] = value
        elif label.endswith("_"):
            raise Unreadable("a record has a field that must be understood and is not")
    return fields


def _renew(base: _Base, fields: dict[str, object]) -> None:
    """Bring the base fields up to date with one record."""
    version = _take_version(fields)
    if base.version is None:
        base.version = _VERSION if version is None else version
    elif version is not None and version != base.version:
        raise Unreadable("the records of the pack have different versions")
    if "bn" in fields:
        base.name = _take_text(fields, "bn")
    if "bt" in fields:
        base.time_s = _take_number(fields, "bt")
    if "bu" in fields:
        base.unit = _take_text(fields, "bu")
    if "bv" in fields:
        base.value = _take_number(fields, "bv")
    if "bs" in fields:
        base.integral = _take_number(fields, "bs")


def _resolve_record(base: _Base, fields: dict[str, object]) -> Record:
    name = base.name + (_take_text(fields, "n") if "n" in fields else "")
    if _NAME.fullmatch(name) is None:
        raise Unreadable("a record's name is missing or has a character that a name cannot have")
    unit = _take_text(fields, "u") if "u" in fields else base.unit
    integral = base.integral
    if "s" in fields:
        integral = _add(base.integral or 0.0, _take_number(fields, "s"))
    value = _take_value(base, fields)
    if value is None and integral is None:
        raise Unreadable("a record has neither a value nor a sum")
    return Record(
        name=name,
        # SenML's "%" is a ratio 0..1, and "/" its better name (RFC 8428 section 12.1, note 1).
        unit="/" if unit == "%" else unit,
        value=value,
        time_s=_add(base.time_s, _take_number(fields, "t")) if "t" in fields else base.time_s,
        integral=integral,
        update_s=_take_number(fields, "ut") if "ut" in fields else None,
    )


def _take_value(base: _Base, fields: dict[str, object]) -> Value | None:
    present = [label for label in _VALUES if label in fields]
    if len(present) > 1:
        raise Unreadable("a record has more than one value")
    match present:
        case ["v"]:
            return _add(base.value, _take_number(fields, "v"))
        case ["vs"]:
            return _take_text(fields, "vs")
        case ["vb"]:
            truth = fields["vb"]
            if isinstance(truth, bool):
                return truth
            raise Unreadable("the field vb is neither true nor false")
        case ["vd"]:
            return _take_data(fields["vd"])
    return None


def _take_version(fields: dict[str, object]) -> int | None:
    if "bver" not in fields:
        return None
    version = fields["bver"]
    if type(version) is not int or version < 1:
        raise Unreadable("the pack's version is not a positive whole number")
    if version > _VERSION and version != _VERSION | _SECONDARY_UNITS:
        raise Unreadable("the pack needs a SenML version or feature that is not understood")
    return version


def _take_text(fields: dict[str, object], label: str) -> str:
    text = fields[label]
    if isinstance(text, str):
        return text
    raise Unreadable(f"the field {label} is not text")


def _take_number(fields: dict[str, object], label: str) -> float:
    return to_number(fields[label], f"the field {label}")


def _take_data(data: object) -> bytes:
    if isinstance(data, bytes):
        return data
    if not isinstance(data, str) or _BASE64URL.fullmatch(data) is None or len(data) % 4 == 1:
        raise Unreadable("the field vd is not base64url without padding")
    return urlsafe_b64decode(data + "=" * (-len(data) % 4))


def _add(base: float, value: float) -> float:
    return to_number(base + value, "a base field with its field")
