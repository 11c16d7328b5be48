"""The ways of a house: those that are set up, no others; and a modem that lives through new settings."""

from __future__ import annotations

from pathlib import Path

from fake_modem import FakeModem
from peers import Ear, make_plan
from waiting import wait_until

from controller.core.plan.alarm import Watched
from controller.core.plan.people import Way
from controller.core.plan.plan import Plan
from controller.core.plan.reach import Modem, Webhook
from controller.core.plan.site import Journal, Mail
from controller.core.vocabulary import EffectDone, SendMessage, TroubleSeen
from controller.edges.clock import BoardClock
from controller.edges.notify.sender import Sender
from controller.edges.notify.ways import make_adapters, start, stop

CLOCK = BoardClock("UTC", 0)


def make_full_plan(home: Path) -> Plan:
    """Make a house with every way."""
    return make_plan(1883).model_copy(
        update={
            "journal": Journal(directory=str(home)),
            "mail": Mail(host="127.0.0.1", sender="house@example.org"),
            "modem": Modem(device=str(home / "modem")),
            "webhook": Webhook(secret_file=str(home / "secret")),
        }
    )


def test_only_what_is_set_up_is_there(tmp_path: Path) -> None:
    """A bare house has the log and services; a full one has every way there is."""
    bare = make_adapters(make_plan(1883), CLOCK, Ear().inbox)
    full = make_adapters(make_full_plan(tmp_path), CLOCK, Ear().inbox)

    assert set(bare) == {Way.LOG, Way.SERVICE}
    assert set(full) == set(Way)


def test_new_settings_keep_the_modem(tmp_path: Path) -> None:
    """Its port is open and its answers are under way; its own settings need a restart."""
    plan = make_full_plan(tmp_path)
    first = make_adapters(plan, CLOCK, Ear().inbox)
    second = make_adapters(
        plan.model_copy(update={"mail": None, "modem": None}), CLOCK, Ear().inbox, kept=first
    )
    bare = make_adapters(make_plan(1883), CLOCK, Ear().inbox)

    assert second[Way.TEXT] is first[Way.TEXT]
    assert Way.EMAIL not in second
    assert Way.TEXT not in make_adapters(plan, CLOCK, Ear().inbox, kept=bare)


def test_from_start_to_stop_a_text_goes_out(tmp_path: Path) -> None:
    """Started with the others, the modem opens its port, carries a message, and ends within its time."""
    fake = FakeModem(tmp_path)
    fake.plug()
    ear = Ear()
    adapters = make_adapters(make_full_plan(tmp_path), CLOCK, ear.inbox)
    start(adapters)
    ear.wait_for(TroubleSeen(Watched.MODEM, None))
    sender = Sender(ear.inbox.put, adapters)
    wait_until(lambda: "AT+CMGL=4" in fake.asked, "the modem has been made ready")
    sender.send(SendMessage("e1", "keeper", Way.TEXT, "+447700900123", "s", "t", "a"))

    ear.wait_for(EffectDone("e1", "the network has taken it as [0]", (0,)))
    assert stop(adapters, 10)
    assert sender.stop(5)
    fake.unplug()
