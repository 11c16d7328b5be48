"""The modem: whatever it does, each message ends in an outcome, email goes on, and trouble is told within a minute."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from fake_modem import FakeModem, write_deliver, write_report
from peers import Ear
from waiting import wait_until

from controller.core.plan.alarm import Watched
from controller.core.plan.people import Way
from controller.core.plan.reach import Modem as ModemSettings
from controller.core.vocabulary import (
    EffectDone,
    EffectFailed,
    MessageDelivered,
    ReplyReceived,
    SendMessage,
    TroubleSeen,
)
from controller.edges.clock import BoardClock
from controller.edges.notify.modem import Modem
from controller.edges.notify.modem_reports import Reports
from controller.edges.notify.modem_talk import Patience
from controller.edges.notify.pdu import Report, read_pdu
from controller.edges.notify.sender import Sender
from controller.edges.notify.way import Outcome

KEEPER, DEPUTY = "+447700900123", "+447700900456"

# The real waits, some forty times shorter, so that a test of a dead modem takes a second.
QUICK = Patience(
    read_s=0.01, answer_s=0.25, prompt_s=0.25, send_s=0.5, probe_s=0.1, quiet_s=0.03, drain_s=0.15, card_s=0.02,
    retries_s=(0.05, 0.1), reopen_s=0.05, restart_s=0.1, recheck_s=0.05, network_s=0.1, longest_send_s=5.0,
)  # fmt: skip

Start = Callable[..., Modem]


def message(
    number: int = 1, address: str = KEEPER, text: str = "DUSKBELL: oxygen low. Code 4821"
) -> SendMessage:
    """Make a message."""
    return SendMessage(f"e{number}", "keeper", Way.TEXT, address, "s", text, "a")


@pytest.fixture
def fake(tmp_path: Path) -> Iterator[FakeModem]:
    """Give a modem that is plugged in and behaves."""
    modem = FakeModem(tmp_path)
    modem.plug()
    yield modem
    modem.unplug()


@pytest.fixture
def ear() -> Ear:
    """Give an ear that commits what it hears."""
    return Ear()


@pytest.fixture
def start(fake: FakeModem, ear: Ear, tmp_path: Path) -> Iterator[Start]:
    """Start the edge, waiting until the path is open unless told not to; it is stopped after the test."""
    started: list[Modem] = []

    def _start(*, waits: bool = True, patience: Patience = QUICK, **settings: object) -> Modem:
        words = {"device": str(fake.device), "check_s": 5.0} | settings
        modem = Modem(
            ModemSettings.model_validate(words), ear.inbox, BoardClock("UTC", 0), marker=tmp_path / "pin-tried",
            patience=patience,
        )  # fmt: skip
        started.append(modem)
        modem.start()
        if waits:
            wait_until(lambda: modem._ready, "the modem is ready")
        return modem

    yield _start
    for modem in started:
        assert modem.stop(10)


def troubles(ear: Ear) -> list[str | None]:
    """Give the troubles told of the modem."""
    seen = ear.of(TroubleSeen)
    assert {each.part for each in seen} <= {Watched.MODEM}
    return [each.trouble for each in seen]


def wait_for_trouble(ear: Ear, words: str | None) -> None:
    """Wait until the last trouble told has these words, or is over."""

    def _told() -> bool:
        told = troubles(ear)
        return bool(told) and (told[-1] is None if words is None else words in (told[-1] or ""))

    wait_until(_told, f"the trouble {words!r} is told; told: {troubles(ear)}")


# --- going well -----------------------------------------------------------------------------------------


def test_a_message_is_taken_by_the_network_and_reported_delivered(
    fake: FakeModem, ear: Ear, start: Start
) -> None:
    """Accepted when the network takes it; delivered when the report with its reference and recipient comes."""
    modem = start()
    fake.reference = 7

    assert modem.send(message()) == Outcome(
        accepted=True, text="the network has taken it as [7]", references=(7,)
    )
    assert fake.taken[0].number == KEEPER
    assert ear.of(MessageDelivered) == []
    fake.report(fake.taken[0], 0x30)  # still trying
    fake.report(fake.taken[0], 0x00)

    ear.wait_for(MessageDelivered("e1"))
    assert troubles(ear) == [None]
    assert ear.of(EffectFailed) == []


def test_it_is_made_ready_in_the_order_of_the_standard(fake: FakeModem, start: Start) -> None:
    """Echo off, numbered errors, card, octets, store, words about messages; and the centre of the settings."""
    start(centre="+447700900000")
    order = ["ATE0", "AT+CMEE=1", "AT+CPIN?", "AT+CMGF=0", 'AT+CPMS="ME","ME","ME"', "AT+CNMI=2,1,0,1,0"]
    order += ['AT+CSCA="+447700900000",145', "AT+CREG?", "AT+CSQ"]

    assert [command for command in fake.asked if command in order][: len(order)] == order


def test_a_long_text_goes_in_parts_and_is_delivered_when_all_are(
    fake: FakeModem, ear: Ear, start: Start
) -> None:
    """Two parts have two references; one report is not yet the message."""
    modem = start()
    assert modem.send(message(text="x" * 200)).accepted
    assert len(fake.taken) == 2
    fake.report(fake.taken[1], 0)
    fake.receive(1, DEPUTY, "meanwhile")
    ear.wait_for(ReplyReceived(Way.TEXT, DEPUTY, "meanwhile"))
    assert ear.of(MessageDelivered) == []
    fake.report(fake.taken[0], 0)

    ear.wait_for(MessageDelivered("e1"))


@pytest.mark.parametrize(("status", "words"), [(0x41, "refused for good"), (0x61, "given up")])
def test_a_message_that_cannot_be_delivered_is_told(
    fake: FakeModem, ear: Ear, start: Start, status: int, words: str
) -> None:
    """A report of a failure becomes a failed message, so that the next person is told."""
    assert start().send(message()).accepted
    fake.report(fake.taken[0], status)
    (failed,) = ear.wait_for_kind(EffectFailed)

    assert failed.effect_id == "e1"
    assert words in failed.reason


def test_what_no_number_can_be_is_refused_without_the_modem(start: Start) -> None:
    """Letters as a number never reach the modem, and do not count against the way."""
    outcome = start().send(message(address="call me"))

    assert (outcome.accepted, outcome.way_works) == (False, True)


# --- answers that come in -------------------------------------------------------------------------------


def test_an_answer_is_handed_over_and_deleted_only_when_committed(
    fake: FakeModem, start: Start, ear: Ear
) -> None:
    """As long as the journal has not taken it, it stays in the modem."""
    ear.commits = False
    start()
    fake.receive(3, KEEPER, "ack 4821")
    ear.wait_for(ReplyReceived(Way.TEXT, KEEPER, "ack 4821"))
    fake.receive(4, DEPUTY, "second")
    ear.wait_for_kind(ReplyReceived, 2)
    assert sorted(fake.store) == [3, 4]
    assert "AT+CMGD=3" not in fake.asked
    ear.uncommitted[0]()
    wait_until(lambda: 3 not in fake.store, "the committed one is deleted")

    assert sorted(fake.store) == [4]
    assert len(ear.of(ReplyReceived)) == 2


def test_an_answer_that_came_while_we_were_away_is_found(fake: FakeModem, ear: Ear, start: Start) -> None:
    """The store is looked through at the start; read or unread makes no difference."""
    fake.store = {1: (1, write_deliver(KEEPER, "old")), 2: (0, write_deliver(DEPUTY, "new")), 5: (2, "0011")}
    start()
    ear.wait_for_kind(ReplyReceived, 2)
    wait_until(lambda: set(fake.store) == {5}, "what was received is deleted, a draft is left alone")

    assert [reply.text for reply in ear.of(ReplyReceived)] == ["old", "new"]


def test_an_answer_committed_just_before_the_port_was_lost_is_not_told_twice(
    fake: FakeModem, ear: Ear, start: Start
) -> None:
    """It is still in the store after the modem comes back, and is only deleted then."""
    ear.commits = False
    modem = start()
    fake.receive(1, KEEPER, "4821")
    ear.wait_for_kind(ReplyReceived)
    fake.unplug()
    wait_until(lambda: not modem._ready, "the loss is noticed")
    ear.uncommitted[0]()
    fake.plug()
    wait_until(lambda: not fake.store, "it is deleted after the return")

    assert len(ear.of(ReplyReceived)) == 1


def test_a_full_store_is_read_empty_and_told_while_it_is(fake: FakeModem, ear: Ear, start: Start) -> None:
    """Above 70 % it is told; as soon as all has been committed and deleted it is over."""
    ear.commits = False
    fake.store = {place: (0, write_deliver(KEEPER, f"m{place}")) for place in range(20)}
    modem = start()
    wait_for_trouble(ear, "nearly full (20 of 20)")
    ear.wait_for_kind(ReplyReceived, 20)
    for committed in ear.uncommitted:
        committed()
    wait_until(lambda: not fake.store, "the store is empty")
    modem._path.check_s = 0.0

    wait_for_trouble(ear, None)


def test_garbage_in_the_store_is_told_and_does_not_stay(fake: FakeModem, ear: Ear, start: Start) -> None:
    """What cannot be read is counted and deleted, or it would fill the store; what can is handed over."""
    fake.store = {1: (0, "07911326040000F0040B91"), 2: (0, write_deliver(KEEPER, "4821"))}
    start()
    ear.wait_for(ReplyReceived(Way.TEXT, KEEPER, "4821"))

    wait_until(lambda: not fake.store, "both are deleted")


def test_a_report_kept_in_the_store_counts_too(fake: FakeModem, ear: Ear, start: Start) -> None:
    """Some modems store reports instead of saying them."""
    assert start().send(message()).accepted
    fake.store[9] = (0, write_report(fake.taken[0].reference, KEEPER, 0))
    fake.say('+CDSI: "ME",9')

    ear.wait_for(MessageDelivered("e1"))
    wait_until(lambda: not fake.store, "it is deleted")


# --- going badly ----------------------------------------------------------------------------------------


def test_no_modem_at_all_is_told_and_found_when_it_comes(fake: FakeModem, ear: Ear, start: Start) -> None:
    """An unplugged modem is a trouble, a message fails at once, and it is used when it is plugged in."""
    fake.unplug()
    modem = start(waits=False)
    wait_for_trouble(ear, "there is no modem at")
    outcome = modem.send(message())
    assert (outcome.accepted, outcome.way_works) == (False, False)
    fake.plug()
    wait_for_trouble(ear, None)

    assert modem.send(message(2)).accepted


def test_a_silent_modem_is_called_reset_and_used_when_it_wakes(
    fake: FakeModem, ear: Ear, start: Start
) -> None:
    """Silence is told; the modem is asked three times, told to start anew, and works again when it does."""
    modem = start()
    fake.silent = True
    modem._path.check_s = 0.0
    wait_for_trouble(ear, "it does not answer")
    wait_until(lambda: "AT+CFUN=1,1" in fake.asked, "it is told to start anew")
    assert fake.asked.count("AT") >= 3
    assert not modem.send(message()).accepted
    fake.silent = False
    wait_for_trouble(ear, None)

    assert modem.send(message(2)).accepted


def test_silence_after_the_text_fails_as_maybe_sent(fake: FakeModem, ear: Ear, start: Start) -> None:
    """Without an answer to the text nobody knows; it is tried again within bounds and said so."""
    modem = start()
    fake.mute_after_prompt = True
    outcome = modem.send(message())

    assert not outcome.accepted
    assert "it may have been sent all the same" in outcome.text
    wait_for_trouble(ear, "not taken")
    fake.mute_after_prompt = False
    wait_until(lambda: modem._ready, "it is ready again")
    assert modem.send(message(2)).accepted
    wait_for_trouble(ear, None)


@pytest.mark.parametrize("error", ["+CMS ERROR: 500", "+CMS ERROR: 331", "+CMS ERROR: 332", "ERROR"])
def test_passing_errors_are_tried_again(fake: FakeModem, ear: Ear, start: Start, error: str) -> None:
    """Two errors, then it goes; the trouble between is over with the success."""
    modem = start()
    fake.send_errors.extend([error, error])

    assert modem.send(message()).accepted
    wait_for_trouble(ear, None)
    assert fake.restarts == 0


@pytest.mark.parametrize("error", ["+CMS ERROR: 500", "ERROR"])
def test_lasting_errors_end_in_a_restart_and_are_told(
    fake: FakeModem, ear: Ear, start: Start, error: str
) -> None:
    """After three tries the message fails, the modem is restarted, and the path counts as broken until one goes."""
    modem = start()
    fake.always_error = error
    outcome = modem.send(message())
    assert (outcome.accepted, outcome.way_works) == (False, False)
    wait_until(lambda: fake.restarts == 1, "it is restarted")
    wait_until(lambda: modem._ready, "it is ready again")
    assert "messages are not taken" in (troubles(ear)[-1] or "") or "not taken" in (troubles(ear)[-1] or "")
    fake.always_error = ""

    assert modem.send(message(2)).accepted
    wait_for_trouble(ear, None)


def test_a_number_the_network_does_not_know_is_that_persons_fault(
    fake: FakeModem, ear: Ear, start: Start
) -> None:
    """Cause 1 is told at once, without a try again, and the way stays good for the others."""
    modem = start()
    fake.send_errors.append("+CMS ERROR: 1")
    outcome = modem.send(message())

    assert (outcome.accepted, outcome.way_works) == (False, True)
    assert "no such number" in outcome.text
    assert modem.send(message(2, DEPUTY)).accepted
    assert troubles(ear) == [None]


def test_no_credit_is_told(fake: FakeModem, ear: Ear, start: Start) -> None:
    """A network that bars messages is not asked again and again; the trouble names the contract."""
    modem = start()
    fake.send_errors.append("+CMS ERROR: 8")
    assert not modem.send(message()).accepted

    wait_for_trouble(ear, "check credit and contract")


def test_unplugged_in_the_middle_of_a_message(fake: FakeModem, ear: Ear, start: Start) -> None:
    """The message fails at once, the loss is told, and after plugging in messages go again."""
    modem = start()
    fake.unplug_at_prompt = True
    began = time.monotonic()
    assert not modem.send(message()).accepted
    assert time.monotonic() - began < 2.0
    wait_for_trouble(ear, "modem:")
    fake.plug()
    wait_for_trouble(ear, None)

    assert modem.send(message(2)).accepted


def test_noise_on_the_line_changes_nothing(fake: FakeModem, ear: Ear, start: Start) -> None:
    """Garbage before every answer is passed over."""
    fake.noise = True
    modem = start()
    fake.receive(1, KEEPER, "4821")
    ear.wait_for(ReplyReceived(Way.TEXT, KEEPER, "4821"))

    assert modem.send(message()).accepted
    assert troubles(ear) == [None]


def test_words_unasked_in_the_middle_of_an_answer_are_heard(fake: FakeModem, ear: Ear, start: Start) -> None:
    """A report and a word of a new message inside other answers spoil neither."""
    modem = start()
    assert modem.send(message()).accepted
    report = write_report(fake.taken[0].reference, KEEPER, 0)
    fake.store = {1: (0, write_deliver(DEPUTY, "inside"))}
    fake.interrupt = f'+CDS: {len(report) // 2 - 1}\n{report}\n+CMTI: "ME",1\nRING\n+CREG: 1'

    assert modem.send(message(2)).accepted
    ear.wait_for(MessageDelivered("e1"))
    ear.wait_for(ReplyReceived(Way.TEXT, DEPUTY, "inside"))
    fake.interrupt = ""
    assert troubles(ear) == [None]


def test_a_lost_network_is_told_and_its_return_too(fake: FakeModem, ear: Ear, start: Start) -> None:
    """Looking for a network for longer than a moment is a trouble; messages then fail at once."""
    modem = start()
    fake.registration = 2
    fake.say("+CREG: 2")
    wait_for_trouble(ear, "it looks for a network")
    assert "it looks for a network" in modem.send(message()).text
    fake.registration = 5
    wait_for_trouble(ear, None)

    assert modem.send(message(2)).accepted


def test_a_weak_signal_is_told(fake: FakeModem, ear: Ear, start: Start) -> None:
    """Three looks at a very weak signal are a trouble, though messages are still tried."""
    fake.signal = 2
    modem = start()
    for _ in range(3):
        before = fake.asked.count("AT+CSQ")
        modem._path.check_s = 0.0
        wait_until(lambda before=before: fake.asked.count("AT+CSQ") > before, "the signal is looked at")
    wait_for_trouble(ear, "very weak (-109 dBm)")  # TS 27.007, section 8.5: 2 is -109 dBm

    assert modem.send(message()).accepted


@pytest.mark.parametrize(
    ("card", "words"),
    [
        ("SIM PUK", "asks for PUK"),
        ("SIM PIN", "name no pin_file"),
        ("+CME ERROR: 10", "there is no card"),
        ("+CME ERROR: 13", "the card has failed"),
    ],
)
def test_a_card_that_cannot_be_used_is_told(
    fake: FakeModem, ear: Ear, start: Start, card: str, words: str
) -> None:
    """What only a person can mend is said in plain words, and no message waits for it."""
    fake.card.clear()
    fake.card.append(card)
    modem = start(waits=False)
    wait_for_trouble(ear, words)

    assert not modem.send(message()).accepted


def test_a_pin_is_entered_and_a_busy_card_waited_for(fake: FakeModem, start: Start, tmp_path: Path) -> None:
    """The right PIN opens the card, and the mark of the try is gone afterwards."""
    (tmp_path / "pin").write_text("4711\n")
    fake.pin = "4711"
    fake.card.clear()
    fake.card.extend(["+CME ERROR: 14", "SIM PIN"])
    modem = start(pin_file=str(tmp_path / "pin"))

    assert modem.send(message()).accepted
    assert not (tmp_path / "pin-tried").exists()


def test_a_wrong_pin_is_tried_once_whatever_happens(
    fake: FakeModem, ear: Ear, start: Start, tmp_path: Path
) -> None:
    """Neither reopening nor a restart of the daemon tries it again; a changed file does, once."""
    pin = tmp_path / "pin"
    pin.write_text("1111")
    fake.pin = "4711"
    fake.card.clear()
    fake.card.append("SIM PIN")
    modem = start(waits=False, pin_file=str(pin))
    wait_for_trouble(ear, "PIN was refused")
    openings = fake.asked.count("ATE0")
    wait_until(lambda: fake.asked.count("ATE0") > openings + 3, "it is opened again and again")
    assert fake.asked.count('AT+CPIN="1111"') == 1
    assert modem.stop(5)
    again = start(waits=False, pin_file=str(pin))
    openings = fake.asked.count("ATE0")
    wait_until(lambda: fake.asked.count("ATE0") > openings + 3, "the next daemon opens it")
    assert fake.asked.count('AT+CPIN="1111"') == 1
    pin.write_text("04711"[1:] + "\n")

    wait_until(lambda: again._ready, "the right PIN in a changed file opens it")
    assert fake.asked.count('AT+CPIN="4711"') == 1


# --- reports --------------------------------------------------------------------------------------------


def test_a_message_nothing_is_heard_of_fails_and_may_still_arrive(
    fake: FakeModem, ear: Ear, start: Start
) -> None:
    """After the wait the next person is told; a report that comes late is still a delivery."""
    modem = start()
    modem._reports._wait_s = 0.1
    assert modem.send(message()).accepted
    (failed,) = ear.wait_for_kind(EffectFailed)
    assert "no word of its delivery" in failed.reason
    fake.report(fake.taken[0], 0)

    ear.wait_for(MessageDelivered("e1"))
    assert ear.of(EffectFailed) == [failed]


def test_the_reference_wraps_and_the_recipient_tells_messages_apart(
    fake: FakeModem, ear: Ear, start: Start
) -> None:
    """The 257th message has the reference of the first; the report's recipient decides."""
    modem = start()
    assert modem.send(message(1, KEEPER)).accepted
    fake.reference = 0
    assert modem.send(message(257, DEPUTY)).accepted
    assert [taken.reference for taken in fake.taken] == [0, 0]
    fake.report(fake.taken[1], 0)
    ear.wait_for(MessageDelivered("e257"))
    assert len(ear.of(MessageDelivered)) == 1
    fake.report(fake.taken[0], 0)

    ear.wait_for(MessageDelivered("e1"))


def test_the_time_tells_two_messages_of_one_reference_and_recipient_apart() -> None:
    """After a wrap to the same person the report's time of sending decides."""
    reports = Reports(wait_s=300, valid_s=3600)
    early, late = 1_780_000_000_000, 1_780_002_000_000
    reports.await_report("e1", KEEPER, {5}, sent_utc_ms=early, now_s=0.0)
    reports.await_report("e2", KEEPER, {5}, sent_utc_ms=late, now_s=2000.0)

    assert reports.take(Report(5, KEEPER, late + 3000, 0)) == MessageDelivered("e2")
    assert reports.take(Report(5, "07700900123", early, 0)) == MessageDelivered("e1")
    assert reports.take(Report(5, KEEPER, early, 0)) is None


def test_what_is_past_all_hope_is_forgotten_and_the_memory_is_bounded() -> None:
    """A thousand messages without a report leave a bounded memory, and none after their time."""
    reports = Reports(wait_s=300, valid_s=3600)
    for number in range(1000):
        reports.await_report(f"e{number}", KEEPER, {number % 256}, sent_utc_ms=0, now_s=float(number))
    assert len(reports) == 300
    assert len(reports.take_overdue(1299.0)) == 300
    assert reports.take_overdue(1300.0) == []
    assert reports.take_overdue(6000.0) == []

    assert len(reports) == 0


# --- with email -----------------------------------------------------------------------------------------


class GoodMail:
    """An email that always goes."""

    def __init__(self) -> None:
        self.waits_s: list[float] = []

    def send(self, message: SendMessage) -> Outcome:
        """Note how long the message waited, by its text."""
        self.waits_s.append(time.monotonic() - float(message.text))
        return Outcome(accepted=True, text="250 OK")


def _make_silent(fake: FakeModem) -> None:
    fake.silent = True


def _make_mute(fake: FakeModem) -> None:
    fake.mute_after_prompt = True


def _make_failing(fake: FakeModem) -> None:
    fake.always_error = "+CMS ERROR: 500"


def _make_noisy(fake: FakeModem) -> None:
    fake.noise = True
    fake.always_error = "ERROR"


def _pull_out(fake: FakeModem) -> None:
    fake.unplug_at_prompt = True


def _fill(fake: FakeModem) -> None:
    fake.store = dict.fromkeys(range(20), (2, "0011"))
    fake.always_error = "+CMS ERROR: 322"


BAD = [_make_silent, _make_mute, _make_failing, _make_noisy, _pull_out, _fill]


@pytest.mark.parametrize("spoil", BAD, ids=[each.__name__.strip("_") for each in BAD])
def test_a_bad_modem_never_stops_email_and_is_told(
    fake: FakeModem, ear: Ear, start: Start, spoil: Callable[[FakeModem], None]
) -> None:
    """Twenty texts into a bad modem: every one ends, every email goes without waiting, the trouble is told.

    The waits here are shorter than the real ones; that the real ones add up to less than a minute is the
    test after this.
    """
    modem, mail = start(), GoodMail()
    spoil(fake)
    sender = Sender(ear.inbox.put, {Way.TEXT: modem, Way.EMAIL: mail})
    for number in range(20):
        sender.send(message(number))
        now = str(time.monotonic())
        sender.send(replace(message(100 + number), way=Way.EMAIL, address="k@example.org", text=now))
    ends = {f"e{number}" for number in range(20)} | {f"e{100 + number}" for number in range(20)}

    def _ended() -> bool:
        events = ear.of(EffectDone) + ear.of(EffectFailed)
        return {event.effect_id for event in events if isinstance(event, (EffectDone, EffectFailed))} == ends

    wait_until(_ended, "every message has ended", within_s=40)
    assert len(mail.waits_s) == 20
    assert max(mail.waits_s) < 1.0
    assert any(each.part is Watched.MODEM and each.trouble for each in ear.of(TroubleSeen))
    assert sender.stop(10)


def test_the_real_waits_for_a_dead_modem_are_less_than_a_minute() -> None:
    """From the last look at a modem that falls silent, or from the text it never answers, to the telling."""
    patience = Patience()
    recover_s = patience.drain_s + 3 * patience.probe_s
    longest_check_s = 45.0  # the settings allow no more

    assert longest_check_s + patience.answer_s + recover_s < 60
    assert patience.prompt_s + patience.send_s + recover_s < 60
    # With errors: the first try again finds the second error, and that is told.
    assert patience.retries_s[0] + 2 * patience.prompt_s < 60


def test_stopping_lets_nobody_wait(fake: FakeModem, start: Start) -> None:
    """A message that waits for a mute modem ends when the daemon stops."""
    modem = start(patience=replace(QUICK, send_s=30.0))
    fake.mute_after_prompt = True
    outcomes: list[Outcome] = []
    caller = threading.Thread(target=lambda: outcomes.append(modem.send(message())))
    caller.start()
    wait_until(lambda: any(asked.startswith("AT+CMGS") for asked in fake.asked), "it is being sent")
    modem.stop(0.1)
    caller.join(10)

    assert [outcome.accepted for outcome in outcomes] == [False]
    fake.unplug()


def test_what_the_fake_writes_is_what_the_reader_reads() -> None:
    """The fake's own octets, written apart from our code, are read as meant."""
    sent = datetime(2026, 6, 14, 13, 30, tzinfo=UTC)  # 15:30 with eight quarters of an hour taken off

    assert read_pdu(write_report(5, KEEPER, 0x40)) == Report(5, KEEPER, round(sent.timestamp() * 1000), 0x40)
