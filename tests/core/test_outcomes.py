"""What becomes of messages: refused news goes again while it is true, an end never comes before its begin."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import House, make_entry, make_missing, make_person, make_plan, make_step

from controller.core.alarms.alarm import CODES, make_code
from controller.core.alarms.lifecycle import Phase
from controller.core.plan.alarm import Kind, Response, Watched
from controller.core.plan.people import Way
from controller.core.plan.reach import Modem
from controller.core.plan.supervision import Supervision
from controller.core.state import Durable
from controller.core.vocabulary import (
    AnswerGiven,
    EffectDone,
    EffectFailed,
    MessageDelivered,
    SendMessage,
    Started,
    TestCallAsked,
    TroubleSeen,
    WayTried,
)

LOW, GOOD = {"tank_oxygen": 3.0}, {"tank_oxygen": 8.0}


def make_two_ways() -> House:
    """Make a house whose keeper and deputy have a telephone too, and wait until an emergency has called them."""
    people = tuple(
        make_person(name).model_copy(update={"phone": number})
        for name, number in (("keeper", "+447700900123"), ("deputy", "+447700900124"))
    )
    plan = make_plan(
        curtain=(),
        alarm=(make_entry(),),
        person=people,
        modem=Modem(device="/dev/ttyUSB0"),
        call=(
            make_step(0, "keeper", "deputy", ways=(Way.TEXT, Way.EMAIL)),
            make_step(0, "keeper", response=Response.TODAY, ways=(Way.EMAIL,)),
        ),
    )
    return House(plan).wait(3)


def raise_low(house: House) -> list[SendMessage]:
    """Let the oxygen be low until people are called; return the calls."""
    calls: list[SendMessage] = []
    for _ in range(6):
        house.wait(0.5, speaking=LOW)
        calls += house.messages
        if calls:
            return calls
    raise AssertionError("nobody is called")


def mend(house: House) -> list[SendMessage]:
    """Let the oxygen be good until the alarm is over; return what is said then."""
    said: list[SendMessage] = []
    for _ in range(6):
        house.wait(0.5, speaking=GOOD)
        said += [message for message in house.messages if "OVER: tank oxygen low" in message.subject]
        if house.alarm().phase in {Phase.NORMAL, Phase.RETURNED}:
            return said
    raise AssertionError("it does not end")


def test_news_that_was_refused_goes_again_until_it_is_taken() -> None:
    """The others must learn who has it though the mail server is busy: the same message, after growing waits."""
    house = make_two_ways()
    raise_low(house)
    house.accept()
    house.tell(AnswerGiven(house.alarm().code, "keeper", "page"))
    (text, mail) = (next(m for m in house.messages if m.way is way) for way in (Way.TEXT, Way.EMAIL))
    house.tell(EffectDone(text.effect_id), EffectFailed(mail.effect_id, "not now: 451 busy"))
    assert house.messages == []
    house.wait(1.9, speaking=LOW)
    assert house.messages == []
    house.wait(0.2, speaking=LOW)
    assert [(m.effect_id, m.text) for m in house.messages] == [(mail.effect_id, mail.text)]
    house.tell(EffectFailed(mail.effect_id, "not now: 451 busy")).wait(10.1, speaking=LOW)
    assert [m.effect_id for m in house.messages] == [mail.effect_id]
    house.tell(EffectDone(mail.effect_id)).wait(15, speaking=LOW)
    assert mail.effect_id not in [m.effect_id for m in house.messages]
    assert mail.effect_id not in house.state.durable.outstanding


def test_old_news_is_not_sent_again() -> None:
    """Who had it has it no more: that he had it is of no use to anybody."""
    house = make_two_ways()
    raise_low(house)
    house.accept()
    house.tell(AnswerGiven(house.alarm().code, "keeper", "page"))
    news = house.messages
    house.tell(*(EffectFailed(message.effect_id, "not now: 451 busy") for message in news))
    mend(house)
    house.accept().wait(30, speaking=GOOD)
    assert not {message.effect_id for message in news} & {message.effect_id for message in house.messages}
    assert not {message.effect_id for message in news} & set(house.state.durable.outstanding)


def test_a_refused_message_waits_over_a_restart() -> None:
    """What was put off stays put off, and goes when its time has come."""
    house = make_two_ways().tell(TestCallAsked("keeper", "deputy"))
    (text, mail) = house.messages
    house.tell(EffectDone(text.effect_id), EffectFailed(mail.effect_id, "not now"))
    house.restart(1)
    assert mail.effect_id not in {message.effect_id for message in house.messages}
    house.wait(2)
    assert mail.effect_id in {message.effect_id for message in house.messages}


def test_an_answered_test_call_is_not_sent_again() -> None:
    """Its code means nothing any more."""
    house = make_two_ways().tell(TestCallAsked("keeper", "deputy"))
    (mail,) = (message for message in house.messages if message.way is Way.EMAIL)
    code = mail.text.split("Reply ")[1][:4]
    house.tell(EffectFailed(mail.effect_id, "not now"), AnswerGiven(code, "deputy", "page")).wait(30)
    assert mail.effect_id not in {message.effect_id for message in house.messages}


def test_who_never_heard_the_begin_does_not_hear_the_end() -> None:
    """The mail server was down all the while; the telephones were not."""
    house = make_two_ways()
    calls = raise_low(house)
    house.tell(
        *(
            EffectFailed(call.effect_id, "no connection")
            if call.way is Way.EMAIL
            else EffectDone(call.effect_id)
            for call in calls
        )
    )
    house.tell(*(EffectFailed(m.effect_id, "no connection") for m in house.messages if m.way is Way.EMAIL))
    assert {message.way for message in mend(house)} == {Way.TEXT}


def test_an_end_follows_the_call_that_is_still_under_way() -> None:
    """It names the call that it must not overtake; where that was taken it goes on its own."""
    house = make_two_ways()
    calls = raise_low(house)
    taken = next(call for call in calls if (call.way, call.person) == (Way.EMAIL, "keeper"))
    house.tell(EffectDone(taken.effect_id))
    over = {(message.way, message.person): message for message in mend(house)}
    assert len(over) == 4
    for call in calls:
        follows = over[call.way, call.person].after
        assert follows == ("" if call is taken else call.effect_id)


def test_an_end_goes_once_a_later_call_was_taken() -> None:
    """The first call was refused, the second came through: the person has heard of it after all."""
    house = make_two_ways()
    for call in raise_low(house):
        house.tell(EffectFailed(call.effect_id, "no connection"))
    assert len(house.alarm().missed) == 4
    for _ in range(40):
        house.wait(0.5, speaking=LOW)
        house.accept()
        if not house.alarm().missed:
            break
    assert set(house.alarm().heard) == {
        f"{person} by {way}" for person in ("keeper", "deputy") for way in ("email", "text")
    }
    assert len(mend(house)) == 4


# --- ways as a whole ------------------------------------------------------------------------------------


def fault_plan(response: Response = Response.TODAY) -> House:
    """Make a house with an entry that watches its ways, called for by mail alone."""
    watch = make_entry(
        "messages failing", kind=Kind.FAULT, of=Watched.MESSAGES, sensor="", limit=None, deadband=0.0,
        response=response, on_delay_s=60.0,
    )  # fmt: skip
    house = make_two_ways()
    plan = house.plan.model_copy(
        update={"alarm": (make_entry(), make_missing(response=Response.NOTE), watch)}
    )
    return House(plan).wait(3)


def test_a_mail_account_that_cannot_be_used_is_told_by_telephone() -> None:
    """The probe failed; a call by mail alone would reach nobody. When it works again the alarm is over."""
    house = fault_plan().tell(WayTried(Way.EMAIL, "wrong password: 535 no"))
    assert house.state.troubles[Watched.MESSAGES] == "email: wrong password: 535 no"
    house.wait(1.1)
    assert {(m.person, m.way) for m in house.messages} == {("keeper", Way.EMAIL), ("keeper", Way.TEXT)}
    assert "wrong password" in next(m.text for m in house.messages if m.way is Way.TEXT)
    house.tell(WayTried(Way.EMAIL, None)).wait(2)
    assert Watched.MESSAGES not in house.state.troubles
    assert house.alarm("messages failing").phase is Phase.RETURNED


def test_a_broken_telephone_is_told_by_mail_alone() -> None:
    """The mail works, so nobody's telephone is rung about the telephone."""
    house = fault_plan().tell(WayTried(Way.TEXT, "no network")).wait(1.1)
    assert {m.way for m in house.messages} == {Way.EMAIL}


def test_one_message_taken_ends_the_trouble_of_its_way() -> None:
    """Whoever says that a way is broken is refuted by a message that went."""
    house = fault_plan().tell(WayTried(Way.EMAIL, "no connection"))
    house.tell(TestCallAsked("keeper", "deputy"))
    house.accept()
    assert Watched.MESSAGES not in house.state.troubles


def test_a_way_that_works_does_not_hide_one_that_does_not() -> None:
    """Text messages go; that ends nothing that was said of mail."""
    house = fault_plan().tell(WayTried(Way.EMAIL, "no connection"), TestCallAsked("keeper", "deputy"))
    house.tell(*(EffectDone(m.effect_id) for m in house.messages if m.way is Way.TEXT))
    assert house.state.troubles[Watched.MESSAGES] == "email: no connection"


# --- codes ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("salt", ["", "a", "0123456789abcdef0123456789abcdef", "x" * 200])
def test_no_code_comes_twice_in_nine_thousand(salt: str) -> None:
    """With any secret, and without one, the codes are a permutation of those of four digits."""
    codes = [make_code(number, salt) for number in range(CODES)]
    assert sorted(codes) == [str(code) for code in range(1000, 10_000)]


def test_a_secret_hides_what_comes_next() -> None:
    """Steps from code to code are as varied as chance has them, and two houses share no row of codes."""
    codes = [int(make_code(number, "one house")) for number in range(1000)]
    steps = {(after - before) % CODES for before, after in pairwise(codes)}
    # Of 999 steps drawn from 9000 at random some 945 differ (9000 (1 - (1 - 1/9000)^999)); a rule shows a few.
    assert len(steps) > 900
    others = [int(make_code(number, "another house")) for number in range(1000)]
    assert sum(one == other for one, other in zip(codes, others, strict=True)) < 5


def test_the_secret_is_kept_over_a_restart_and_given_once() -> None:
    """A code that people hold in their hands stays good; a later start does not change the row."""
    house = House(start=False).tell(Started(salt="first"))
    before = house.state.durable
    house.restart(1)
    house.tell(Started(salt="second"))
    assert (house.state.durable.salt, before.salt) == ("first", "first")


def test_a_code_in_use_is_not_given_again() -> None:
    """After a change of the secret the rows may cross; two open alarms never share a code."""
    house = House(make_plan(curtain=(), alarm=(make_entry(), make_entry("second", limit=4.0))))
    house.wait(2, speaking={"tank_oxygen": 4.5})
    first = house.alarm().code
    durable = house.state.durable
    occurrences = next(
        number for number in range(CODES) if make_code(durable.codes_from + number + 1, "s") == first
    )
    changed: Durable = type(durable)(
        **{name: getattr(durable, name) for name in durable.__slots__}
        | {"salt": "s", "occurrences": occurrences}
    )
    object.__setattr__(house.state, "durable", changed)
    house.wait(2, speaking={"tank_oxygen": 3.0})
    assert house.alarm("second").code not in {"", first}


# --- test calls and reports -----------------------------------------------------------------------------


@given(st.integers(0, 5))
def test_an_unanswered_test_call_is_sent_again_so_many_times(times: int) -> None:
    """Evenly within its time, with the same code and the minutes that are left; then the person counts as unreached."""
    rules = Supervision(digest_time="", heartbeat_min=0.0, answer_within_min=60.0, remind_times=times)
    house = House(make_plan(curtain=(), alarm=(), sensor=(), supervision=rules)).tell(
        TestCallAsked("keeper", "deputy")
    )
    sent = list(house.messages)
    for _ in range(59):
        house.wait(1)
        sent += house.messages
    assert Watched.PEOPLE not in house.state.troubles
    house.wait(2)
    assert Watched.PEOPLE in house.state.troubles
    assert len(sent) == 1 + times
    assert len({message.text.split("Reply ")[1][:4] for message in sent}) == 1


def test_an_answer_ends_the_reminders() -> None:
    """Whoever has answered is left alone."""
    rules = Supervision(digest_time="", heartbeat_min=0.0, answer_within_min=60.0, remind_times=3)
    house = House(make_plan(curtain=(), alarm=(), sensor=(), supervision=rules)).tell(
        TestCallAsked("keeper", "deputy")
    )
    house.tell(AnswerGiven(house.messages[0].text.split("Reply ")[1][:4], "deputy", "page")).wait(120)
    assert house.messages == []


def test_a_report_that_comes_after_a_restart_still_counts() -> None:
    """The network took the text before the power failed: its delivery proves the path, its loss moves the list on."""
    for arrives in (True, False):
        house = make_two_ways()
        text = next(m for m in raise_low(house) if (m.way, m.person) == (Way.TEXT, "keeper"))
        house.tell(EffectDone(text.effect_id, "taken", (7,)))
        assert house.state.durable.unreported[text.effect_id].references == (7,)
        house.restart(1)
        assert text.effect_id in house.state.durable.unreported
        if arrives:
            house.tell(MessageDelivered(text.effect_id))
            assert any("delivered" in note for note in house.notes)
        else:
            house.tell(EffectFailed(text.effect_id, "no word of its delivery for 5 min"))
            assert "no word" in house.state.troubles[Watched.MESSAGES]
        assert text.effect_id not in house.state.durable.unreported


def test_the_modem_in_trouble_is_told_by_mail() -> None:
    """A step for today that goes by text alone would be silent about the very thing."""
    entry = make_entry(
        "modem failing", kind=Kind.FAULT, of=Watched.MODEM, sensor="", limit=None, deadband=0.0,
        response=Response.TODAY, on_delay_s=0.0,
    )  # fmt: skip
    plan = make_two_ways().plan
    steps = (*plan.call[:1], make_step(0, "keeper", response=Response.TODAY, ways=(Way.TEXT,)))
    house = House(plan.model_copy(update={"alarm": (entry,), "call": steps})).wait(3)
    house.tell(TroubleSeen(Watched.MODEM, "modem: it has been unplugged"))
    assert {m.way for m in house.messages} == {Way.TEXT, Way.EMAIL}


def test_a_broken_modem_is_one_call_with_its_own_cause() -> None:
    """Texts fail because of it: nobody is sent to look at the mail account; mails that fail are still told."""
    house = make_two_ways()
    house.tell(TroubleSeen(Watched.MODEM, "modem: it has been unplugged"), WayTried(Way.TEXT, "unplugged"))
    for message in raise_low(house):
        if message.way is Way.TEXT:
            house.tell(EffectFailed(message.effect_id, "unplugged"))
    assert Watched.MODEM in house.state.troubles
    assert Watched.MESSAGES not in house.state.troubles
    house.tell(WayTried(Way.EMAIL, "535 refused"))
    assert house.state.troubles[Watched.MESSAGES] == "email: 535 refused"
    house.tell(WayTried(Way.EMAIL, None), TroubleSeen(Watched.MODEM, None))

    assert not {Watched.MESSAGES, Watched.MODEM} & house.state.troubles.keys()


def test_texts_that_fail_before_the_modem_says_why_are_no_second_trouble() -> None:
    """The trouble of the messages ends in the turn in which the modem is found to be the cause."""
    house = make_two_ways()
    house.tell(WayTried(Way.TEXT, "no answer"))
    assert Watched.MESSAGES in house.state.troubles
    house.tell(TroubleSeen(Watched.MODEM, "modem: no answer"))

    assert Watched.MESSAGES not in house.state.troubles
