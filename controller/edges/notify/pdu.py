"""Text messages as the octets a modem takes and gives (3GPP TS 23.040): submit, deliver, status report.

Numbers stand in swapped half-octets, text in packed septets, times in swapped half-octets with the offset in
quarters of an hour. What comes from outside is never trusted: reading ends in a message or in `BadPdu`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import Enum
from typing import Final, NamedTuple, TypeAlias

from controller.core.units import UtcMs
from controller.edges.notify.gsm_alphabet import cut_septets, from_septets, to_gsm7, to_septets

SEPTETS_ALONE: Final = 160
SEPTETS_OF_A_PART: Final = 153  # the header of a part takes the room of seven
PARTS_MAX: Final = 4
"""A text longer than four messages is cut; nobody reads that much from a phone at night."""

DEFAULT_VALIDITY_MIN: Final = 60
"""How long the network keeps trying. [min] The call list says it again by then, with newer words."""

_SUBMIT, _RELATIVE_VALIDITY, _HEADER, _WANTS_REPORT = 0x01, 0x10, 0x40, 0x20
_INTERNATIONAL, _NATIONAL, _ALPHANUMERIC = 0x91, 0x81, 0xD0


class BadPdu(ValueError):  # noqa: N818 - named by what it is
    """Octets that are no message of a kind we know."""


class Fate(Enum):
    """What a status report says of a message."""

    DELIVERED = "delivered"
    TRYING = "the network is still trying"
    REFUSED = "refused for good"
    GIVEN_UP = "the network has given up"


@dataclass(frozen=True, slots=True)
class Deliver:
    """A message that has come in."""

    sender: str
    text: str
    sent_utc_ms: UtcMs | None


@dataclass(frozen=True, slots=True)
class Report:
    """What became of a message of ours. `reference` wraps at 256; with the recipient it names the message."""

    reference: int
    recipient: str
    sent_utc_ms: UtcMs | None
    status: int

    @property
    def fate(self) -> Fate:
        """Sort the status (TS 23.040, section 9.2.3.15)."""
        if self.status < 0x20:
            return Fate.DELIVERED
        if self.status < 0x40:
            return Fate.TRYING
        return Fate.REFUSED if self.status < 0x60 else Fate.GIVEN_UP


class Submit(NamedTuple):
    """A message as the modem takes it: the octets in hexadecimal, and their count for `AT+CMGS`."""

    octets: str
    length: int


Incoming: TypeAlias = Deliver | Report


# --- writing --------------------------------------------------------------------------------------------


def write_submits(
    number: str, text: str, *, group: int, wants_report: bool, validity_min: int = DEFAULT_VALIDITY_MIN
) -> tuple[Submit, ...]:
    """Write a text for a number as one message, or as several parts that the phone joins.

    Parameters
    ----------
    number
        In E.164 form, `+` and digits.
    text
        Any text; what the alphabet does not have is replaced, what is too long is cut.
    group
        Names the parts of one text, 0 to 255; not the reference of the network.
    wants_report
        Whether the network is to say what became of it.
    validity_min
        How long the network tries. [min]
    """
    text = to_gsm7(text)
    whole, rest = cut_septets(text, SEPTETS_ALONE)
    if not rest:
        return (_write_submit(number, whole, b"", wants_report=wants_report, validity_min=validity_min),)
    pieces: list[str] = []
    while text and len(pieces) < PARTS_MAX:
        piece, text = cut_septets(text, SEPTETS_OF_A_PART)
        pieces.append(piece)
    # Information element 0: parts of one text, with an eight-bit reference (TS 23.040, section 9.2.3.24.1).
    return tuple(
        _write_submit(
            number, piece, bytes((5, 0, 3, group % 256, len(pieces), place)),
            wants_report=wants_report, validity_min=validity_min,
        )
        for place, piece in enumerate(pieces, start=1)
    )  # fmt: skip


def _write_submit(number: str, text: str, header: bytes, *, wants_report: bool, validity_min: int) -> Submit:
    """Write one SMS-SUBMIT with the modem's own service centre and reference."""
    first = _SUBMIT | _RELATIVE_VALIDITY | (_WANTS_REPORT if wants_report else 0) | (_HEADER if header else 0)
    septets = to_septets(text)
    fill_bits = -len(header) * 8 % 7
    header_septets = (len(header) * 8 + fill_bits) // 7
    body = bytes((first, 0)) + write_number(number) + bytes((0, 0, write_validity(validity_min)))
    body += bytes((header_septets + len(septets),)) + header + pack_septets(septets, fill_bits=fill_bits)
    return Submit("00" + body.hex().upper(), len(body))


def write_number(number: str) -> bytes:
    """Write a number: count of digits, type, digits in swapped half-octets (TS 23.040, section 9.1.2.5)."""
    digits = number.removeprefix("+")
    if not digits.isascii() or not digits.isdigit() or not 1 <= len(digits) <= 20:
        raise ValueError(f"{number!r} is no telephone number")
    kind = _INTERNATIONAL if number.startswith("+") else _NATIONAL
    return bytes((len(digits), kind)) + _swap(digits + "F" * (len(digits) % 2))


def write_validity(validity_min: int) -> int:
    """Write the time of validity [min], rounded up (TS 23.040, section 9.2.3.12.1)."""
    if validity_min <= 720:
        return max(0, -(-validity_min // 5) - 1)
    if validity_min <= 1440:
        return 143 + -(-(validity_min - 720) // 30)
    return min(166 + -(-validity_min // 1440), 196)


def pack_septets(septets: tuple[int, ...], *, fill_bits: int = 0) -> bytes:
    """Pack septets into octets, lowest bit first, after `fill_bits` of nothing."""
    bits, held = 0, fill_bits
    octets = bytearray()
    for septet in septets:
        bits |= septet << held
        held += 7
        while held >= 8:
            octets.append(bits & 0xFF)
            bits >>= 8
            held -= 8
    if held:
        octets.append(bits & 0xFF)
    return bytes(octets)


def unpack_septets(octets: bytes, count: int, *, fill_bits: int = 0) -> tuple[int, ...]:
    """Unpack so many septets; fewer if the octets do not hold them."""
    bits = int.from_bytes(octets, "little") >> fill_bits
    count = min(count, max(0, len(octets) * 8 - fill_bits) // 7)
    return tuple(bits >> (7 * place) & 0x7F for place in range(count))


# --- reading --------------------------------------------------------------------------------------------


def read_pdu(line: str) -> Incoming:
    """Read what a modem hands over: the service centre, then a deliver or a status report.

    Raises
    ------
    BadPdu
        It is neither, or it is cut short.
    """
    try:
        octets = bytes.fromhex(line)
    except ValueError as error:
        raise BadPdu("not hexadecimal octets") from error
    cursor = _Cursor(octets)
    cursor.take(cursor.one())
    first = cursor.one()
    match first & 0x03:
        case 0:
            return _read_deliver(cursor, has_header=bool(first & _HEADER))
        case 2:
            return _read_report(cursor)
        case _:
            raise BadPdu("a message of a kind that does not come in")


class _Cursor:
    """Reads octets from first to last."""

    def __init__(self, octets: bytes) -> None:
        self._octets = octets
        self._at = 0

    def one(self) -> int:
        """Take one octet."""
        return self.take(1)[0]

    def take(self, count: int) -> bytes:
        """Take so many octets."""
        taken = self._octets[self._at : self._at + count]
        if len(taken) < count:
            raise BadPdu("it ends in the middle")
        self._at += count
        return taken

    def rest(self) -> bytes:
        """Take all that is left."""
        return self.take(len(self._octets) - self._at)


def _read_deliver(cursor: _Cursor, *, has_header: bool) -> Deliver:
    sender = _read_number(cursor)
    cursor.one()  # protocol identifier
    coding = cursor.one()
    sent = _read_time(cursor.take(7))
    length = cursor.one()
    return Deliver(sender, _read_text(cursor.rest(), length, coding, has_header=has_header), sent)


def _read_report(cursor: _Cursor) -> Report:
    reference = cursor.one()
    recipient = _read_number(cursor)
    sent = _read_time(cursor.take(7))
    cursor.take(7)  # when it was delivered
    return Report(reference, recipient, sent, cursor.one())


def _read_number(cursor: _Cursor) -> str:
    """Read a number or a name; a number comes back with its `+` if it is international."""
    digits, kind = cursor.one(), cursor.one()
    octets = cursor.take((digits + 1) // 2)
    if kind & 0x70 == _ALPHANUMERIC & 0x70:
        return from_septets(unpack_septets(octets, digits * 4 // 7)).strip()
    number = "".join(f"{octet & 0xF:x}{octet >> 4:x}" for octet in octets)[:digits]
    number = number.translate({ord("a"): "*", ord("b"): "#", ord("c"): "a", ord("d"): "b", ord("e"): "c"})
    return f"+{number}" if kind & 0x70 == _INTERNATIONAL & 0x70 else number


def _read_time(octets: bytes) -> UtcMs | None:
    """Read a time stamp; None if it is none (TS 23.040, section 9.2.3.11)."""
    try:
        year, month, day, hour, minute, second = (_swapped(octet) for octet in octets[:6])
        quarters = _swapped(octets[6] & 0xF7)
        if octets[6] & 0x08:
            quarters = -quarters
        there = datetime(2000 + year, month, day, hour, minute, second, tzinfo=UTC)
        return round((there - timedelta(minutes=15 * quarters)).timestamp() * 1000)
    except ValueError:
        return None


def _swapped(octet: int) -> int:
    """Read two swapped digits."""
    tens, ones = octet & 0x0F, octet >> 4
    if tens > 9 or ones > 9:
        raise ValueError("no digits")
    return tens * 10 + ones


def _read_text(octets: bytes, length: int, coding: int, *, has_header: bool) -> str:
    """Read the text by its coding (TS 23.038, section 4). `length` counts septets or octets."""
    skip = 0
    if has_header:
        if not octets or 1 + octets[0] > len(octets):
            raise BadPdu("its header ends in the middle")
        skip = 1 + octets[0]
    match _alphabet(coding):
        case 0:
            fill_bits = -skip * 8 % 7
            count = length - (skip * 8 + fill_bits) // 7
            return from_septets(unpack_septets(octets[skip:], max(0, count), fill_bits=fill_bits))
        case 2:
            return octets[skip:length].decode("utf-16-be", "replace")
        case _:
            # Data for machines; what can be read in it is shown.
            return octets[skip:length].decode("latin-1")


def _alphabet(coding: int) -> int:
    """Find the alphabet: 0 septets, 1 octets, 2 UCS-2."""
    if coding & 0xC0 == 0x00:
        return coding >> 2 & 0x03
    if coding & 0xF0 == 0xE0:  # message waiting, in UCS-2
        return 2
    if coding & 0xF0 == 0xF0:
        return coding >> 2 & 0x01
    return 0


def _swap(digits: str) -> bytes:
    return bytes(int(digits[place + 1] + digits[place], 16) for place in range(0, len(digits), 2))
