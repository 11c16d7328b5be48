"""The modem of the demonstration is one for the real edge: it takes texts, reports them, and lets answers in."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parents[1] / "edges"))

from waiting import wait_until

from controller.core.plan.people import Way
from controller.core.plan.reach import Modem as ModemSettings
from controller.core.vocabulary import MessageDelivered, ReplyReceived, SendMessage
from controller.edges.clock import BoardClock
from controller.edges.inbox import Inbox
from controller.edges.notify.modem import Modem
from controller.edges.notify.pdu import write_submits
from simulators.live.airtime import Airtime, Text, read_submit

NUMBER = "+447700900123"


@pytest.mark.parametrize("text", ["DUSKBELL TEST", "a" * 160, "[code] {4821} ~ 3 C", "x" * 400])
def test_what_the_edge_writes_is_what_is_read(text: str) -> None:
    """Whole, with signs of the extension table, and in parts."""
    submits = write_submits(NUMBER, text, group=7, wants_report=True)
    read = [read_submit(bytes.fromhex(submit.octets)) for submit in submits]
    assert "".join(one.text for one, _ in read) == text
    assert {(one.to, report) for one, report in read} == {(NUMBER, True)}


def test_the_real_edge_sends_is_told_of_delivery_and_hears_an_answer(tmp_path: Path) -> None:
    """From the message to the report, and from the person back."""
    inbox = Inbox()
    with Airtime(tmp_path) as airtime:
        settings = ModemSettings(device=str(airtime.device), check_s=5.0)
        modem = Modem(settings, inbox, BoardClock("UTC", 0), marker=tmp_path / "pin-tried")
        modem.start()
        message = SendMessage("e1", "keeper", Way.TEXT, NUMBER, "s", "DUSKBELL TEST. Reply 4821", "test/4821")
        wait_until(lambda: modem.send(message).accepted, "the text is taken")
        assert Text(NUMBER, "DUSKBELL TEST. Reply 4821") in airtime.texts
        airtime.receive(NUMBER, "4821 on my way")
        heard: list[object] = []

        def hear() -> bool:
            inbound = inbox.take(0.1)
            if inbound is not None:
                heard.append(inbound.event)
                if inbound.committed is not None:
                    inbound.committed()
            return (
                ReplyReceived(Way.TEXT, NUMBER, "4821 on my way") in heard and MessageDelivered("e1") in heard
            )

        wait_until(hear, "report and answer are heard")
        assert modem.stop(10)
