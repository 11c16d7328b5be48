"""The siren: told over a real broker, and watched by what it reports."""

from __future__ import annotations

import json
from collections.abc import Callable

from brokers import BrokerProcess
from peers import Ear, Peer, make_plan
from waiting import wait_until

from controller.core.plan.alarm import Watched
from controller.core.plan.reach import Siren
from controller.core.units import DAY_MS
from controller.core.vocabulary import EffectDone, EffectFailed, SirenReported, SoundSiren, TroubleSeen
from controller.edges.clock import BoardClock
from controller.edges.mqtt import MqttEdge
from controller.edges.notify.siren import GRACE_MS, SirenWatch

SETTINGS = Siren(command_topic="kw/siren/do", report_topic="kw/siren/is", confirm_s=10.0)
ON, OFF = SoundSiren("e1", 180_000, 0, 0, "oxygen"), SoundSiren("e2", 0, 0, 0, "answered")


def watch() -> tuple[SirenWatch, Callable[[], list[str | None]]]:
    """Make a watch, and a look at the troubles it has told."""
    ear = Ear()
    return SirenWatch(SETTINGS, ear.inbox), lambda: [seen.trouble for seen in ear.of(TroubleSeen)]


def test_a_siren_that_obeys_is_no_trouble() -> None:
    """On, off by itself, on again, silenced: each reported in time, nothing told but that it is in order."""
    siren, told = watch()
    siren.told(ON, 0)
    siren.heard(on=True, now_ms=2_000)
    siren.tick(60_000)
    siren.heard(on=False, now_ms=180_000)
    siren.tick(300_000)
    siren.told(ON, 300_000)
    siren.heard(on=True, now_ms=301_000)
    siren.told(OFF, 320_000)
    siren.heard(on=False, now_ms=321_000)
    siren.tick(900_000)

    assert set(told()) == {None}


def test_a_siren_that_does_not_confirm_is_told_until_it_obeys() -> None:
    """Ten seconds without a report that it sounds are a trouble; that it obeys the next time ends it."""
    siren, told = watch()
    siren.told(ON, 0)
    siren.tick(10_000)
    assert told() == []
    siren.tick(10_001)
    assert told() == ["the siren does not report that it sounds"]
    siren.heard(on=False, now_ms=11_000)
    assert len(told()) == 1
    siren.told(ON, 300_000)
    siren.heard(on=True, now_ms=301_000)

    assert told()[1:] == [None]


def test_a_siren_that_cannot_be_silenced_is_told() -> None:
    """Told to be silent it must say so."""
    siren, told = watch()
    siren.told(ON, 0)
    siren.heard(on=True, now_ms=1_000)
    siren.told(OFF, 20_000)
    siren.tick(30_001)

    assert told()[-1] == "the siren does not report that it is silent"


def test_a_silent_siren_need_not_say_again_that_it_is() -> None:
    """A board that reports only changes is no trouble when it is silenced after its sounding has ended."""
    siren, told = watch()
    siren.told(ON, 0)
    siren.heard(on=True, now_ms=1_000)
    siren.heard(on=False, now_ms=180_000)
    siren.told(OFF, 200_000)
    siren.tick(999_000)

    assert set(told()) == {None}


def test_a_siren_that_sounds_on_its_own_or_for_too_long_is_told_until_it_is_silent() -> None:
    """Past its time and a grace it is a trouble, over as soon as it reports silence."""
    siren, told = watch()
    siren.told(ON, 0)
    siren.heard(on=True, now_ms=1_000)
    siren.tick(180_000 + GRACE_MS)
    assert set(told()) == {None}
    siren.tick(180_001 + GRACE_MS)
    assert told()[-1] == "the siren sounds though nobody tells it to"
    siren.heard(on=False, now_ms=200_000)
    assert told()[-1] is None
    siren.heard(on=True, now_ms=900_000)  # a hand on its switch
    siren.tick(900_001 + GRACE_MS)

    assert told()[-1] == "the siren sounds though nobody tells it to"


def test_taking_the_siren_away_ends_its_trouble() -> None:
    """New settings without a siren leave nothing to worry about."""
    siren, told = watch()
    siren.told(ON, 0)
    siren.tick(10_001)
    siren.change(None)
    siren.told(ON, 20_000)
    siren.tick(99_000)

    assert told()[-1] is None


def test_it_is_told_over_the_broker_and_its_report_comes_back(
    mosquitto: BrokerProcess, start_edge: Callable[..., MqttEdge]
) -> None:
    """The command reaches the siren once, bounded and not kept; its report is an event, and confirms."""
    plan = make_plan(mosquitto.port).model_copy(update={"siren": SETTINGS})
    ear, clock = Ear(), BoardClock("Europe/London", 0)
    with Peer(mosquitto.port, "kw/siren/do") as board:
        edge = start_edge(plan, ear)
        edge.act(SoundSiren("e9", 180_000, clock.utc_ms() + 30_000, clock.house_ms() + 30_000, "oxygen"))
        ear.wait_for_kind(EffectDone)
        wait_until(lambda: board.heard, "the siren hears it")
        board.say("kw/siren/is", b'{"on": true}')
        ear.wait_for(SirenReported(on=True))

    (heard,) = board.heard
    assert not heard.retained
    assert json.loads(heard.payload)["sound_at_most_s"] == 180
    assert [seen.trouble for seen in ear.of(TroubleSeen) if seen.part is Watched.SIREN] == [None]


def test_a_siren_that_never_reports_is_told_in_time_in_a_house_that_has_run_for_months(
    mosquitto: BrokerProcess, start_edge: Callable[..., MqttEdge]
) -> None:
    """House time goes on over a restart, the network's begins anew: the fault does not wait for the two to meet."""
    plan = make_plan(mosquitto.port).model_copy(
        update={"siren": SETTINGS.model_copy(update={"confirm_s": 1.0})}
    )
    ear, clock = Ear(), BoardClock("Europe/London", 90 * DAY_MS)
    edge = start_edge(plan, ear, clock=clock)
    edge.act(SoundSiren("e9", 180_000, clock.utc_ms() + 30_000, clock.house_ms() + 30_000, "oxygen"))
    ear.wait_for(TroubleSeen(Watched.SIREN, "the siren does not report that it sounds"))

    assert [seen.trouble for seen in ear.of(TroubleSeen) if seen.part is Watched.SIREN] == [
        "the siren does not report that it sounds"
    ]


def test_without_a_siren_or_too_late_the_command_fails(
    mosquitto: BrokerProcess, start_edge: Callable[..., MqttEdge]
) -> None:
    """What cannot be sent is said to have failed; nothing goes out after its time."""
    plan = make_plan(mosquitto.port)
    ear, clock = Ear(), BoardClock("Europe/London", 0)
    edge = start_edge(plan, ear)
    edge.act(SoundSiren("e1", 180_000, 0, clock.house_ms() + 30_000, "oxygen"))
    ear.wait_for(EffectFailed("e1", "there is no siren in the settings"))
    edge.change_plan(plan.model_copy(update={"siren": SETTINGS}))
    edge.act(SoundSiren("e2", 180_000, 0, clock.house_ms() - 1, "oxygen"))

    ear.wait_for(EffectFailed("e2", "the command came too late to be sent"))
