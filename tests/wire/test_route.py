"""Promises of the way from a message to its events."""

from __future__ import annotations

import json

import cbor2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.plan.curtain import Curtain
from controller.core.plan.plan import Plan
from controller.core.plan.sensor import Form, Sensor
from controller.core.plan.site import Site
from controller.core.units import Quantity
from controller.core.vocabulary import (
    CurtainReported,
    Event,
    Limit,
    PayloadRefused,
    ReadingsTaken,
    Sample,
    Selector,
)
from controller.wire.route import Routes

NOW_UTC_MS = 1_767_268_800_000  # 2026-01-01T12:00:00Z


def _sensor(name: str, topic: str, quantity: Quantity = Quantity.TEMPERATURE, **keys: object) -> Sensor:
    return Sensor.model_validate({"name": name, "topic": topic, "quantity": quantity, "unit": "C", **keys})


SENSORS = (
    _sensor("air", "site/air"),
    _sensor("tank", "site/tank", unit="F"),
    _sensor("lamp", "site/both", Quantity.LIGHT, unit="W/m2", form=Form.JSON, pointer="/light"),
    _sensor(
        "leaf",
        "site/both",
        form=Form.JSON,
        pointer="/leaf/t",
        unit_pointer="/leaf/u",
        time_pointer="/leaf/at",
    ),
    _sensor("north", "site/pack", form=Form.SENML, senml_name="n/t"),
    _sensor("damp", "site/pack", Quantity.HUMIDITY, unit="%", form=Form.SENML, senml_name="n/h"),
    _sensor("alone", "site/alone", form=Form.SENML),
    _sensor("mains", "site/mains", Quantity.SWITCH, unit="on/off", on_word="ok", off_word="fail"),
)
CURTAIN = Curtain(
    name="main", light_sensor="lamp", command_topic="site/motor/do", report_topic="site/motor/is"
)
PLAN = Plan(
    site=Site(name="House", id="house", latitude_deg=54.0, longitude_deg=-1.0, time_zone="Europe/London"),
    sensor=SENSORS,
    curtain=(CURTAIN,),
)
ROUTES = Routes(PLAN)


def _read(topic: str, payload: bytes | object, *, retained: bool = False) -> tuple[Event, ...]:
    body = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    return ROUTES.read(topic, body, retained=retained, now_utc_ms=NOW_UTC_MS)


def test_the_topics_are_those_of_the_settings() -> None:
    """Each configured topic stands once, sensors and boards apart; sources name who uses it."""
    assert ROUTES.sensor_topics == {
        "site/air",
        "site/tank",
        "site/both",
        "site/pack",
        "site/alone",
        "site/mains",
    }
    assert ROUTES.report_topics == {"site/motor/is"}
    assert ROUTES.sources("site/both") == ("lamp", "leaf")
    assert ROUTES.sources("site/motor/is") == ("main",)


def test_a_plain_number_is_a_fresh_sample() -> None:
    """A number in the kept unit comes through as it is, without a time."""
    assert _read("site/air", b"21.5") == (ReadingsTaken((Sample("air", 21.5, True, None),)),)


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    # Fixed points of the Fahrenheit scale (NIST Special Publication 811, appendix B.9: t/C = (t/F - 32)/1.8).
    [(b"32", 0.0), (b"212", 100.0), (b"-40", -40.0)],
)
def test_the_configured_unit_is_converted(fahrenheit: bytes, celsius: float) -> None:
    """A payload without a unit is taken to be in the sensor's configured unit."""
    (event,) = _read("site/tank", fahrenheit)
    assert isinstance(event, ReadingsTaken)
    assert event.samples[0].value == pytest.approx(celsius, abs=1e-9)


def test_the_unit_in_the_message_wins() -> None:
    """A unit in the message is used in place of the configured one; the time comes along."""
    (event,) = _read("site/both", {"light": 300, "leaf": {"t": 293.15, "u": "K", "at": 1_767_268_795}})
    assert isinstance(event, ReadingsTaken)
    assert event.samples[0] == Sample("lamp", 300.0, True, None)
    assert event.samples[1].value == pytest.approx(20.0)
    assert event.samples[1].taken_utc_ms == NOW_UTC_MS - 5_000


def test_a_foreign_unit_is_refused_and_never_guessed() -> None:
    """A unit outside the table refuses this sensor, and the other one on the topic still speaks."""
    events = _read("site/both", {"light": 300, "leaf": {"t": 1, "u": "furlong", "at": 1_767_268_795}})
    assert events[0] == ReadingsTaken((Sample("lamp", 300.0, True, None),))
    assert events[1:] == (
        PayloadRefused("site/both", "leaf", "its unit is not one that temperature can be converted from"),
    )


def test_a_value_that_overflows_in_conversion_is_refused() -> None:
    """A finite number whose kept value would be infinite is no reading."""
    (event,) = _read("site/pack", [{"n": "n/h", "u": "/", "v": 1e307}])
    assert event == PayloadRefused("site/pack", "damp", "the value is too large")


def test_a_retained_reading_is_not_fresh() -> None:
    """A message the broker had kept has an unknown age."""
    assert _read("site/air", b"21.5", retained=True) == (ReadingsTaken((Sample("air", 21.5, False, None),)),)


def test_a_pack_gives_each_sensor_its_record() -> None:
    """SenML's relative time is settled against now, and its ratio becomes a percentage (RFC 8428)."""
    (event,) = _read(
        "site/pack", [{"bn": "n/", "n": "t", "u": "Cel", "v": 19.0, "t": -60}, {"n": "h", "u": "%", "v": 0.5}]
    )
    assert event == ReadingsTaken(
        (Sample("north", 19.0, True, NOW_UTC_MS - 60_000), Sample("damp", 50.0, True, None))
    )


def test_a_binary_pack_is_read_too() -> None:
    """The same in CBOR, with the labels of RFC 8428 section 6."""
    pack = cbor2.dumps([{0: "n/t", 1: "K", 2: 273.15}])
    (event,) = _read("site/pack", pack)
    assert event == ReadingsTaken((Sample("north", 0.0, True, None),))


def test_a_pack_for_one_sensor_is_no_fault_of_the_other() -> None:
    """On a shared topic a pack that names one sensor refuses nothing for the others."""
    assert _read("site/pack", [{"n": "n/t", "u": "Cel", "v": 19.0}]) == (
        ReadingsTaken((Sample("north", 19.0, True, None),)),
    )


def test_a_pack_for_nobody_is_refused_by_all() -> None:
    """A pack that names no configured sensor is counted against each of them."""
    events = _read("site/pack", [{"n": "n/x", "u": "Cel", "v": 19.0}])
    assert [e.source for e in events if isinstance(e, PayloadRefused)] == ["north", "damp"]


@pytest.mark.parametrize(("payload", "value"), [(b"ok", 1.0), (b"fail", 0.0), (b"1", 1.0), (b"0", 0.0)])
def test_a_switch_knows_its_words(payload: bytes, value: float) -> None:
    """The configured words and 1 and 0 are the positions of a switch."""
    assert _read("site/mains", payload) == (ReadingsTaken((Sample("mains", value, True, None),)),)


def test_a_board_report_says_where_the_curtain_is() -> None:
    """A live report becomes one event for its curtain."""
    report = {"drawn_percent": 40, "moving": True, "limit": "none", "selector": "local", "command": "7-0"}
    assert _read("site/motor/is", report) == (
        CurtainReported("main", 40.0, True, Limit.NONE, Selector.LOCAL, "7-0"),
    )


def test_a_retained_board_report_is_left_alone() -> None:
    """A kept report may be days old, so it says nothing."""
    assert _read("site/motor/is", {"drawn_percent": 40, "moving": False}, retained=True) == ()


def test_a_bad_board_report_is_refused_for_its_curtain() -> None:
    """A report without `moving` is refused, in the curtain's name."""
    (event,) = _read("site/motor/is", {"drawn_percent": 40})
    assert isinstance(event, PayloadRefused)
    assert (event.topic, event.source) == ("site/motor/is", "main")


def test_a_topic_may_carry_a_sensor_and_a_report() -> None:
    """Sensor and board on one topic both get their part."""
    position = _sensor(
        "where", "site/motor/is", Quantity.POSITION, unit="%", form=Form.JSON, pointer="/drawn_percent"
    )
    routes = Routes(PLAN.model_copy(update={"sensor": (position,)}))
    events = routes.read(
        "site/motor/is", b'{"drawn_percent": 40, "moving": false}', retained=False, now_utc_ms=NOW_UTC_MS
    )
    assert events == (
        ReadingsTaken((Sample("where", 40.0, True, None),)),
        CurtainReported("main", 40.0, False),
    )


@pytest.mark.parametrize(
    "payload", [b"nan", b"inf", b"1e999", b"1_0", "१२".encode(), b"\xff\xfe", b" 1", b"true"]
)
def test_a_payload_that_is_no_number_is_refused(payload: bytes) -> None:
    """What Python's float would take and a sensor never means becomes no value."""
    (event,) = _read("site/air", payload)
    assert isinstance(event, PayloadRefused)
    assert event.source == "air"


def test_nothing_and_too_much_are_refused() -> None:
    """An empty payload, and one beyond 4096 bytes, are refused unread; 4096 bytes are read."""
    assert _read("site/air", b"") == (PayloadRefused("site/air", "air", "the payload is empty"),)
    assert _read("site/both", b" " * 4097) == tuple(
        PayloadRefused("site/both", name, "the payload is longer than 4096 bytes")
        for name in ("lamp", "leaf")
    )
    fill = b'{"light": 5, "leaf": {"t": 1, "u": "C", "at": 1767268795}, "x": "'
    full = fill + b"x" * (4096 - len(fill) - 2) + b'"}'
    (event,) = _read("site/both", full)
    assert isinstance(event, ReadingsTaken)


@pytest.mark.parametrize(
    "topic", ["", "site", "site/air/", "/site/air", "SITE/AIR", "site/motor/do", "site/+"]
)
def test_a_topic_that_is_not_configured_means_nothing(topic: str) -> None:
    """Topics are exact: no case folding, no wildcards, and the command topic is not listened to."""
    assert _read(topic, b"21.5") == ()


@given(
    topic=st.sampled_from(sorted(ROUTES.sensor_topics | ROUTES.report_topics)),
    payload=st.binary(max_size=200) | st.text(max_size=60).map(lambda text: text.encode("utf-8", "replace")),
    retained=st.booleans(),
)
def test_any_bytes_give_events_and_nothing_else(topic: str, payload: bytes, retained: bool) -> None:  # noqa: FBT001 - drawn by name
    """Hostile bytes never raise, and every sample is one of the topic's sensors."""
    for event in ROUTES.read(topic, payload, retained=retained, now_utc_ms=NOW_UTC_MS):
        match event:
            case ReadingsTaken(samples):
                assert {sample.sensor for sample in samples} <= set(ROUTES.sources(topic))
                assert not any(sample.fresh for sample in samples) or not retained
            case PayloadRefused(refused_topic, source, _):
                assert (refused_topic, source in ROUTES.sources(topic)) == (topic, True)
            case _:
                assert isinstance(event, CurtainReported)
                assert not retained
