"""A motor board's report."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.vocabulary import Limit, Selector
from controller.wire.refusal import Refused
from controller.wire.report import BoardReport, read_report


def test_a_full_report_is_read() -> None:
    """Everything a board may say is taken."""
    payload = (
        b'{"drawn_percent": 43.2, "moving": true, "limit": "none", "selector": "remote", "command": "1042-0"}'
    )

    assert BoardReport(43.2, True, Limit.NONE, Selector.REMOTE, "1042-0") == read_report(payload)


@pytest.mark.parametrize("limit", Limit)
@pytest.mark.parametrize("selector", Selector)
def test_every_word_is_known(limit: Limit, selector: Selector) -> None:
    """Each end switch and each place of the selector is read."""
    payload = json.dumps({"moving": False, "limit": limit.value, "selector": selector.value}).encode()

    assert BoardReport(None, False, limit, selector, None) == read_report(payload)


def test_what_a_board_does_not_have_it_leaves_out() -> None:
    """A pair of relays says only whether it moves; an unknown position is null or absent."""
    expected = BoardReport(None, False, Limit.NONE, Selector.REMOTE, None)

    assert expected == read_report(b'{"moving": false}')
    assert expected == read_report(
        b'{"moving": false, "drawn_percent": null, "command": null, "motor_c": 41}'
    )


@pytest.mark.parametrize(
    ("reported", "drawn_percent"),
    [(0, 0.0), (100, 100.0), (-0.4, 0.0), (100.9, 100.0), (-1, 0.0), (101, 100.0)],
)
def test_a_little_past_an_end_is_that_end(reported: float, drawn_percent: float) -> None:
    """An encoder that drifts up to 1 % past an end reports that end."""
    report = read_report(json.dumps({"moving": False, "drawn_percent": reported}).encode())

    assert BoardReport(drawn_percent, False, Limit.NONE, Selector.REMOTE, None) == report


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", "the payload is not JSON (at character 0)"),
        (b"[]", "the report is not a JSON object"),
        (b"true", "the report is not a JSON object"),
        (b"{}", "moving is missing, or neither true nor false"),
        (b'{"moving": 1}', "moving is missing, or neither true nor false"),
        (b'{"moving": "true"}', "moving is missing, or neither true nor false"),
        (b'{"moving": true, "moving": false}', "the document has a key twice in one object"),
        (b'{"moving": true, "limit": "None"}', "limit is none of none, open, drawn, both"),
        (b'{"moving": true, "limit": null}', "limit is none of none, open, drawn, both"),
        (b'{"moving": true, "limit": ["none"]}', "limit is none of none, open, drawn, both"),
        (b'{"moving": true, "selector": "hand"}', "selector is none of remote, local, off"),
        (b'{"moving": true, "selector": null}', "selector is none of remote, local, off"),
        (b'{"moving": true, "drawn_percent": "43"}', "drawn_percent is not a number"),
        (b'{"moving": true, "drawn_percent": true}', "drawn_percent is true or false where a number belongs"),
        (b'{"moving": true, "drawn_percent": -1.01}', "drawn_percent is not within 0 to 100"),
        (b'{"moving": true, "drawn_percent": 101.01}', "drawn_percent is not within 0 to 100"),
        (b'{"moving": true, "drawn_percent": NaN}', "the document holds NaN or Infinity"),
        (b'{"moving": true, "command": 1042}', "command is not a command's name"),
        (b'{"moving": true, "command": ""}', "command is not a command's name"),
        (b'{"moving": true, "command": "a b"}', "command is not a command's name"),
        (b'{"moving": true, "command": "1\\n"}', "command is not a command's name"),
        (b'{"moving": true, "command": "' + b"1" * 65 + b'"}', "command is not a command's name"),
    ],
)
def test_a_report_that_says_something_invalid_is_refused(payload: bytes, reason: str) -> None:
    """What is there must be valid; a report is taken whole or not at all."""
    assert Refused(reason) == read_report(payload)


@given(
    st.floats(0, 100),
    st.booleans(),
    st.sampled_from(Limit),
    st.sampled_from(Selector),
    st.from_regex(r"[0-9]{1,9}-[0-9]{1,3}", fullmatch=True),
)
def test_any_proper_report_comes_back(
    drawn_percent: float,
    moving: bool,  # noqa: FBT001 - drawn by position
    limit: Limit,
    selector: Selector,
    command_id: str,
) -> None:
    """What a board writes is what is read."""
    payload = json.dumps(
        {
            "command": command_id,
            "selector": selector.value,
            "limit": limit.value,
            "moving": moving,
            "drawn_percent": drawn_percent,
        }
    ).encode()

    assert BoardReport(drawn_percent, moving, limit, selector, command_id) == read_report(payload)
