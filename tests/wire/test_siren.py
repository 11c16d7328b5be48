"""The siren's command and report: bounded and expiring out, strict in."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.plan.plan import Plan
from controller.core.plan.reach import Siren
from controller.core.plan.site import Site
from controller.core.vocabulary import PayloadRefused, SirenReported, SoundSiren
from controller.wire.refusal import Refused
from controller.wire.route import Routes
from controller.wire.siren import read_siren, render_siren

PLAN = Plan(
    site=Site(name="House", id="house", latitude_deg=54.0, longitude_deg=-1.0, time_zone="Europe/London"),
    siren=Siren(command_topic="kw/siren/do", report_topic="kw/siren/is"),
)


def test_a_command_is_absolute_bounded_and_expires() -> None:
    """It says for how long at most and until when it holds, and never "toggle"."""
    payload = render_siren(SoundSiren("e7", 180_000, 1_772_346_630_000, 99, "oxygen"))

    # 1 772 346 630 s is 2026-03-01T06:30:30Z by GNU date.
    assert json.loads(payload) == {
        "command": "e7",
        "sound_at_most_s": 180.0,
        "not_after": "2026-03-01T06:30:30.000Z",
    }


def test_no_time_silences() -> None:
    """The same form with no time means silence."""
    assert json.loads(render_siren(SoundSiren("e8", 0, 0, 0, "answered")))["sound_at_most_s"] == 0


@pytest.mark.parametrize(
    ("payload", "on"),
    [(b'{"on": true}', True), (b'{"on":false,"x":1}', False), (b"on", True), (b"OFF\n", False), (b"1", True)],
)
def test_a_report_is_read(payload: bytes, on: bool) -> None:  # noqa: FBT001 - a case
    """JSON from a clever board, a word from a plain one."""
    assert read_siren(payload) is on


@pytest.mark.parametrize(
    "payload", [b"", b"maybe", b'{"on": 1}', b'{"on": "true"}', b"{}", b"[true]", b"true", b"2"]
)
def test_what_is_neither_is_refused(payload: bytes) -> None:
    """Nothing is guessed."""
    assert isinstance(read_siren(payload), Refused)


@given(st.binary(max_size=100))
def test_any_bytes_are_read_or_refused(payload: bytes) -> None:
    """A report may be garbage; reading it never raises."""
    assert isinstance(read_siren(payload), (bool, Refused))


def test_its_topic_means_the_siren() -> None:
    """A report on the siren's topic becomes an event; a kept one is left alone, for nobody knows its age."""
    routes = Routes(PLAN)

    assert routes.report_topics == {"kw/siren/is"}
    assert routes.read("kw/siren/is", b"on", retained=False, now_utc_ms=0) == (SirenReported(on=True),)
    assert routes.read("kw/siren/is", b"on", retained=True, now_utc_ms=0) == ()
    (refused,) = routes.read("kw/siren/is", b"?", retained=False, now_utc_ms=0)
    assert isinstance(refused, PayloadRefused)
    assert refused.source == "siren"
