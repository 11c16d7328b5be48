"""Text messages as octets: the vectors of published examples, and what must hold for any text and any octets."""

# ruff: noqa: RUF001 - the alphabet of text messages has signs that look like others

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.edges.notify.gsm_alphabet import (
    BASIC,
    EXTENSION,
    count_septets,
    cut_septets,
    from_septets,
    to_gsm7,
    to_septets,
)
from controller.edges.notify.pdu import (
    PARTS_MAX,
    BadPdu,
    Deliver,
    Fate,
    Report,
    pack_septets,
    read_pdu,
    unpack_septets,
    write_number,
    write_submits,
    write_validity,
)

# Code points of septets 0 to 127 without the escape, as the Perl core module Encode::GSM0338 gives them, which
# is made from the Unicode Consortium's mapping file MAPPINGS/ETSI/GSM0338.TXT.
UNICODE_MAPPING = (  # noqa: SIM905 - 128 quoted words could not be compared with the mapping by eye
    "0040 00A3 0024 00A5 00E8 00E9 00F9 00EC 00F2 00C7 000A 00D8 00F8 000D 00C5 00E5 0394 005F 03A6 0393 039B "
    "03A9 03A0 03A8 03A3 0398 039E - 00C6 00E6 00DF 00C9 0020 0021 0022 0023 00A4 0025 0026 0027 0028 0029 002A "
    "002B 002C 002D 002E 002F 0030 0031 0032 0033 0034 0035 0036 0037 0038 0039 003A 003B 003C 003D 003E 003F "
    "00A1 0041 0042 0043 0044 0045 0046 0047 0048 0049 004A 004B 004C 004D 004E 004F 0050 0051 0052 0053 0054 "
    "0055 0056 0057 0058 0059 005A 00C4 00D6 00D1 00DC 00A7 00BF 0061 0062 0063 0064 0065 0066 0067 0068 0069 "
    "006A 006B 006C 006D 006E 006F 0070 0071 0072 0073 0074 0075 0076 0077 0078 0079 007A 00E4 00F6 00F1 00FC 00E0"
).split()
UNICODE_EXTENSION = {
    10: 0x0C, 20: 0x5E, 40: 0x7B, 41: 0x7D, 47: 0x5C, 60: 0x5B, 61: 0x7E, 62: 0x5D, 64: 0x7C, 101: 0x20AC,
}  # fmt: skip

# A widely reprinted textbook example of an SMS-DELIVER; it stands in the tests of several independent libraries.
HOW_ARE_YOU = "07911326040000F0040B911346610089F60000208062917314080CC8F71D14969741F977FD07"
# UCS-2, from the tests of a Python library for text messages.
CHINESE = "07914306073011F0040B914316709807F2000880604290224080084E2D5174901A8BAF"
# An example in the source of a modem manager.
STATUS_REPORT = "07914356060013F10659098136395339F6219011707193802190117071938030"

gsm_text = st.text(st.sampled_from(sorted({*BASIC} - {"\x1b"} | {*EXTENSION.values()})), max_size=700)


def test_both_tables_are_those_of_the_unicode_mapping() -> None:
    """Each septet means the character that the Unicode Consortium's mapping names."""
    mapping = [f"{ord(character):04X}" if character != "\x1b" else "-" for character in BASIC]

    assert mapping == UNICODE_MAPPING
    assert {value: ord(character) for value, character in EXTENSION.items()} == UNICODE_EXTENSION


def test_a_submit_is_the_published_one() -> None:
    """The textbook message hellohello to +46708251358, valid for four days, is these 23 octets."""
    (submit,) = write_submits(
        "+46708251358", "hellohello", group=0, wants_report=False, validity_min=4 * 1440
    )

    assert submit == ("0011000B916407281553F80000AA0AE8329BFD4697D9EC37", 23)


def test_asking_for_a_report_sets_bit_five_of_the_first_octet() -> None:
    """With a report asked for the first octet is 31 (TS 23.040, section 9.2.3.5)."""
    (submit,) = write_submits("+46708251358", "hellohello", group=0, wants_report=True, validity_min=4 * 1440)

    assert submit.octets == "0031000B916407281553F80000AA0AE8329BFD4697D9EC37"


def test_a_deliver_is_read_as_published() -> None:
    """The textbook deliver gives its sender, its text, and its time with the offset taken off."""
    sent = datetime(2002, 8, 26, 19, 37, 41, tzinfo=UTC)  # its offset is 08: the sign and no quarters

    message = read_pdu(HOW_ARE_YOU)

    assert message == Deliver("+31641600986", "How are you?", round(sent.timestamp() * 1000))


def test_a_deliver_in_ucs2_is_read() -> None:
    """Chinese characters come as UCS-2, big end first."""
    message = read_pdu(CHINESE)

    assert isinstance(message, Deliver)
    assert (message.sender, message.text) == ("+34610789702", "中兴通讯")


def test_a_status_report_is_read() -> None:
    """Reference, recipient and status come out; 0x30 says that the network is still trying."""
    report = read_pdu(STATUS_REPORT)

    assert isinstance(report, Report)
    assert (report.reference, report.recipient, report.status) == (0x59, "639335936", 0x30)
    assert report.fate is Fate.TRYING
    assert report.sent_utc_ms == round(datetime(2012, 9, 11, 5, 17, 39, tzinfo=UTC).timestamp() * 1000)


@pytest.mark.parametrize(
    ("status", "fate"),
    [
        (0x00, Fate.DELIVERED),
        (0x1F, Fate.DELIVERED),
        (0x20, Fate.TRYING),
        (0x3F, Fate.TRYING),
        (0x40, Fate.REFUSED),
        (0x5F, Fate.REFUSED),
        (0x60, Fate.GIVEN_UP),
        (0xFF, Fate.GIVEN_UP),
    ],
)
def test_a_status_is_sorted_as_the_standard_has_it(status: int, fate: Fate) -> None:
    """The four ranges are those of TS 23.040, section 9.2.3.15."""
    assert Report(1, "+1", None, status).fate is fate


@pytest.mark.parametrize(
    ("minutes", "octet"),
    # TS 23.040, section 9.2.3.12.1: (v+1)*5 min up to 143; 12 h + (v-143)*30 min up to 167; (v-166) days; weeks.
    [(5, 0), (60, 11), (61, 12), (360, 71), (720, 143), (750, 144), (1440, 167), (2880, 168), (43_200, 196)],
)
def test_the_time_of_validity_is_the_tables(minutes: int, octet: int) -> None:
    """Minutes become the octet of the standard's table, rounded up."""
    assert write_validity(minutes) == octet


def test_an_alphanumeric_sender_is_read_as_its_name() -> None:
    """A name in septets as a sender comes out as text, so that it can never be taken for a number."""
    name = pack_septets(to_septets("Operator"))
    octets = bytes((0, 0x04, len(name) * 2, 0xD0)) + name + bytes(2) + bytes(7) + bytes((2,)) + b"\xc8\x34"

    message = read_pdu(octets.hex())

    assert isinstance(message, Deliver)
    assert (message.sender, message.text) == ("Operator", "Hi")


@given(gsm_text)
def test_septets_come_back_as_the_same_text(text: str) -> None:
    """Whatever is in the alphabet survives encoding, packing with any fill, and back."""
    septets = to_septets(text)

    assert from_septets(septets) == text
    for fill_bits in range(7):
        packed = pack_septets(septets, fill_bits=fill_bits)
        assert unpack_septets(packed, len(septets), fill_bits=fill_bits) == septets


@given(st.text(max_size=300))
def test_any_text_can_be_written(text: str) -> None:
    """Any text becomes one of the alphabet, and the count of its septets is that of what is sent."""
    written = to_gsm7(text)

    assert count_septets(text) == len(to_septets(written))
    assert to_gsm7(written) == written


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("O₂ 3.1 mg/L – below 4 °C", "O2 3.1 mg/L - below 4 C"),
        ("≥ 5 µS", ">= 5 uS"),
        ("naïve façade", "naive facade"),
        ("Zoë’s tank…", "Zoe's tank..."),
        ("10 € [1] {a} `x`", "10 € [1] {a} 'x'"),
        ("鱼", "?"),
        ("fish \u200b\u0301", "fish "),
    ],
)
def test_what_the_alphabet_lacks_is_written_as_people_do(text: str, written: str) -> None:
    """Common signs of the trade and of typography become what a phone without them would show."""
    assert to_gsm7(text) == written


def test_signs_of_the_extension_table_cost_two() -> None:
    """A euro or a bracket costs two septets, so 160 of them need more than one message."""
    assert count_septets("€[]{}~^|\\") == 18
    assert len(write_submits("+447700900123", "€" * 80, group=1, wants_report=True)) == 1
    assert len(write_submits("+447700900123", "€" * 81, group=1, wants_report=True)) == 2


@given(gsm_text)
def test_a_long_text_comes_in_parts_that_join_to_it(text: str) -> None:
    """Read back as a phone would, the parts in order give the text, up to the longest that is sent."""
    submits = write_submits("+447700900123", text, group=77, wants_report=True)
    heard = ""
    for place, submit in enumerate(submits, start=1):
        octets = bytes.fromhex(submit.octets)
        assert submit.length == len(octets) - 1 <= 164  # TS 23.040, section 9.2.2.2: the longest TPDU
        assert octets[1] & 0x40 == (0x40 if len(submits) > 1 else 0)
        # The same message as it comes in: no service centre, deliver, then what follows the validity.
        user_data = octets[1 + 1 + 1 + 2 + 6 + 2 + 1 :]
        if len(submits) > 1:
            assert user_data[1:7] == bytes((5, 0, 3, 77, len(submits), place))
        head = bytes((0, octets[1] & 0x40)) + write_number("+447700900123") + bytes(2) + bytes(7)
        message = read_pdu((head + user_data).hex())
        assert isinstance(message, Deliver)
        heard += message.text

    assert len(submits) <= PARTS_MAX
    assert text.startswith(heard)
    if len(submits) < PARTS_MAX:
        assert heard == text


@given(gsm_text, st.integers(0, 200))
def test_a_cut_never_goes_through_a_character(text: str, septets_max: int) -> None:
    """The two pieces join to the text, and the first is as long as may be."""
    first, rest = cut_septets(text, septets_max)

    assert first + rest == text
    assert count_septets(first) <= septets_max
    if rest:
        assert count_septets(first + rest[0]) > septets_max


@given(st.binary(max_size=200))
def test_any_octets_are_a_message_or_refused(octets: bytes) -> None:
    """What a modem hands over may be garbage; reading it ends in a message or in a refusal."""
    try:
        message = read_pdu(octets.hex())
    except BadPdu:
        return
    assert isinstance(message, (Deliver, Report))


@given(st.integers(0, len(HOW_ARE_YOU) // 2 - 1))
def test_a_message_cut_short_is_refused_or_shorter(octets: int) -> None:
    """A message of which the end is missing never gives a longer text than the whole one."""
    try:
        message = read_pdu(HOW_ARE_YOU[: 2 * octets])
    except BadPdu:
        return
    assert isinstance(message, Deliver)
    assert "How are you?".startswith(message.text)


@pytest.mark.parametrize("line", ["", "0", "xyz", "+CMGL: 1", "07911326040000F001"])
def test_what_is_no_message_is_refused(line: str) -> None:
    """Lines that are no octets, and a kind that never comes in, are refused."""
    with pytest.raises(BadPdu):
        read_pdu(line)


@pytest.mark.parametrize("number", ["", "+", "call me", "+44 7700", "٤٤٧٧٠٠٩٠٠١٢٣", "1" * 21])
def test_what_is_no_number_is_not_written(number: str) -> None:
    """Letters, spaces and digits of other scripts never reach the modem as a number."""
    with pytest.raises(ValueError, match="no telephone number"):
        write_number(number)
