"""A house that is written to: answers by text, guesses, delivery, and a siren that sounds until somebody has it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import OXYGEN, House, gather, make_plan, make_step

from controller.core.alarms.lifecycle import Phase
from controller.core.alarms.siren import Playing, next_play_ms, play
from controller.core.plan.alarm import Response, Watched
from controller.core.plan.people import Person, Way
from controller.core.plan.plan import Plan
from controller.core.plan.reach import Modem, Siren
from controller.core.replies import WRONG_MOST
from controller.core.units import MINUTE_MS, SECOND_MS
from controller.core.vocabulary import (
    AnswerGiven,
    EffectDone,
    EffectFailed,
    MessageDelivered,
    Note,
    ReplyReceived,
    SettingsChanged,
    SirenReported,
    SoundSiren,
    TroubleSeen,
)

KEEPER, DEPUTY, STRANGER = "+447700900123", "+447700900456", "+447700900789"
LOW = {"tank_oxygen": 3.0}
FINE = {"tank_oxygen": 8.0}


def make_text_plan(*, siren: bool = False) -> Plan:
    """Make a house whose people are reached by text."""
    return make_plan(
        person=(
            Person(name="keeper", phone=KEEPER, email="keeper@example.org"),
            Person(name="deputy", phone=DEPUTY),
            Person(name="porter", email="porter@example.org"),
        ),
        call=(
            make_step(0, "keeper", ways=(Way.TEXT,)),
            make_step(5, "deputy", ways=(Way.TEXT,)),
            make_step(15, "porter"),
            make_step(0, "keeper", response=Response.TODAY),
        ),
        modem=Modem(device="/dev/modem"),
        siren=Siren(command_topic="s/do", report_topic="s/is") if siren else None,
    )


def raise_alarm(*, siren: bool = False) -> House:
    """Let the oxygen fall for so long that the first person is called."""
    assert OXYGEN == "tank oxygen"
    house = House(make_text_plan(siren=siren))
    house.read(**FINE)
    house.wait(5, speaking=FINE)
    house.wait(2, speaking=LOW)
    assert house.alarm().phase is Phase.UNACKNOWLEDGED
    return house


def reply(house: House, text: str, sender: str = KEEPER) -> House:
    """Let somebody write back."""
    return house.tell(ReplyReceived(Way.TEXT, sender, text))


# --- answers --------------------------------------------------------------------------------------------


def test_a_text_with_the_code_answers_and_is_thanked() -> None:
    """The alarm is the person's, by name and way; they get a word that it was taken."""
    house = raise_alarm()
    code = house.alarm().code
    reply(house, f"Ack {code} on my way", sender="+44 7700 900-123")

    assert house.alarm().phase is Phase.ACKNOWLEDGED
    assert house.alarm().answered_by == "keeper"
    (thanks,) = house.messages
    assert (thanks.way, thanks.address) == (Way.TEXT, KEEPER)
    assert code in thanks.text
    assert any("keeper answered" in note and "by text" in note for note in house.notes)


def test_the_others_are_told_who_has_it() -> None:
    """Whoever was called before hears that it is somebody's."""
    house = raise_alarm()
    house.wait(6, speaking=LOW)
    reply(house, house.alarm().code, sender=DEPUTY)

    texts = {message.person: message.text for message in house.messages}
    assert set(texts) == {"keeper", "deputy"}
    assert "deputy has it" in texts["keeper"]


@pytest.mark.parametrize(
    "text",
    ["1234", "hello", "I cannot, {code}", "ill in bed {code}", "Automatic reply: {code}", "DUSKBELL {code}"],
)
def test_anything_else_leaves_the_calls_going(text: str) -> None:
    """A wrong code, no code, a refusal, a machine and our own words answer nothing."""
    house = raise_alarm()
    reply(house, text.format(code=house.alarm().code))

    assert house.alarm().phase is Phase.UNACKNOWLEDGED
    house.wait(5, speaking=LOW)
    assert "deputy" in house.told


def test_a_wrong_code_gets_the_open_ones_three_times_an_hour_at_most() -> None:
    """The person is corrected, but a loop of two machines ends."""
    house = raise_alarm()
    told: list[str] = []
    for _ in range(8):
        reply(house, "what?")
        told += [message.text for message in house.messages]

    assert len(told) == 3
    assert all(house.alarm().code in text for text in told)


def test_a_stranger_changes_nothing_and_hears_nothing() -> None:
    """The right code from an unknown number is noted and told to who is on duty; the stranger hears nothing."""
    house = raise_alarm()
    reply(house, house.alarm().code, sender=STRANGER)

    assert house.alarm().phase is Phase.UNACKNOWLEDGED
    assert set(house.told) == {"keeper"}
    assert STRANGER not in {message.address for message in house.messages}
    assert all(STRANGER in message.text and "right code" in message.text for message in house.messages)
    assert any(STRANGER in note and "unknown number" in note for note in house.notes)


def test_a_stranger_is_told_of_once_an_hour() -> None:
    """A right or a wrong code; plain words are no matter; many numbers make no flood."""
    house = House(make_text_plan())
    reply(house, "hello", sender=STRANGER)
    assert house.told == []
    reply(house, "1234", sender=STRANGER)
    assert house.told == ["keeper"]
    assert "wrong code" in house.messages[0].text
    reply(house, "1235", sender=STRANGER)
    assert house.told == []
    house.wait(61)
    reply(house, "1236", sender=STRANGER)
    assert house.told == ["keeper"]
    told = 0
    for number in range(40):
        told += len(reply(house, "1234", sender=f"+4477009008{number:02}").told)

    assert told < 10


def test_a_name_as_the_sender_is_nobodys() -> None:
    """A sender that calls itself by a person's name is a stranger."""
    house = raise_alarm()
    reply(house, house.alarm().code, sender="keeper")

    assert house.alarm().phase is Phase.UNACKNOWLEDGED


def test_five_wrong_codes_are_told_and_the_number_refused_for_an_hour_over_a_restart() -> None:
    """Those on duty are called for it; even the right code is refused; the hour survives a restart."""
    house = raise_alarm()
    for guess in range(WRONG_MOST):
        reply(house, f"{1000 + guess}", sender=STRANGER)
    assert STRANGER in house.state.troubles[Watched.REPLIES]
    assert "keeper" in house.told
    for guess in range(WRONG_MOST):
        reply(house, f"{1000 + guess}", sender=DEPUTY)
    house.restart(1)
    reply(house, house.alarm().code, sender=DEPUTY)
    assert house.alarm().phase is Phase.UNACKNOWLEDGED
    assert set(house.state.troubles[Watched.REPLIES].split()) >= {f"{STRANGER}:", "deputy:"}
    assert DEPUTY not in house.state.troubles[Watched.REPLIES], (
        "the number of a person of the house is theirs"
    )
    house.wait(61, speaking=LOW)
    assert Watched.REPLIES not in house.state.troubles
    reply(house, house.alarm().code, sender=DEPUTY)

    assert house.alarm().phase is Phase.ACKNOWLEDGED


def test_a_refused_number_hears_so_once_and_is_not_asked_for_a_reply() -> None:
    """The right code from it is recorded and answered with the end of the refusal; its texts ask for no reply."""
    house = raise_alarm()
    assert any(f"Reply {house.alarm().code}" in each.text for each in house.messages if each.way is Way.TEXT)
    for guess in range(WRONG_MOST):
        reply(house, f"{1000 + guess}", sender=DEPUTY)
    reply(house, house.alarm().code, sender=DEPUTY)
    (told,) = [message for message in house.messages if message.address == DEPUTY]
    assert "refused until " in told.text
    assert "Answer another way" in told.text
    assert any("right code refused" in note for note in house.notes)
    reply(house, house.alarm().code, sender=DEPUTY)
    assert DEPUTY not in {message.address for message in house.messages}
    house.wait(6, speaking=LOW)
    texts = [
        message.text
        for message in house.messages
        if message.address == DEPUTY and message.thread.startswith("tank oxygen low")
    ]

    assert texts
    assert all(f"Code {house.alarm().code}" in text and "Reply" not in text for text in texts)


def test_a_late_answer_hears_who_has_it() -> None:
    """The second to answer is told the first one's name, and is no guesser."""
    house = raise_alarm()
    code = house.alarm().code
    reply(house, code)
    reply(house, code, sender=DEPUTY)

    (told,) = house.messages
    assert told.person == "deputy"
    assert "keeper has it already" in told.text
    assert house.state.durable.senders["text " + DEPUTY].wrong == ()


def test_an_old_code_answers_nothing() -> None:
    """The code of an alarm that is over does not count for the next."""
    house = raise_alarm()
    old = house.alarm().code
    reply(house, old)
    house.wait(10, speaking=FINE)
    house.wait(3, speaking=LOW)
    assert house.alarm().code != old
    reply(house, old)

    assert house.alarm().phase is Phase.UNACKNOWLEDGED
    assert house.alarm().code in house.messages[0].text


@given(
    st.lists(
        st.tuples(st.sampled_from([KEEPER, DEPUTY, STRANGER, "x", ""]), st.text(max_size=30)), max_size=12
    )
)
def test_any_replies_leave_a_house_that_goes_on(replies: list[tuple[str, str]]) -> None:
    """Whatever is written by whomever, the turn returns, the record stays one line each, memory is bounded."""
    house = raise_alarm()
    code = house.alarm().code
    for sender, text in replies:
        reply(house, text, sender=sender)
        for note in gather(house.effects, Note):
            assert note.text.isprintable()

    answered = any(sender in {KEEPER, DEPUTY} and code in text for sender, text in replies)
    assert answered or house.alarm().phase is Phase.UNACKNOWLEDGED


def test_the_end_of_a_refusal_is_not_slept_through() -> None:
    """The house wakes in time to say that the number may answer again, whatever else there is to do."""
    house = House(make_text_plan())
    for guess in range(WRONG_MOST):
        reply(house, f"{1000 + guess}", sender=STRANGER)
    until_ms = house.now + 60 * MINUTE_MS
    house.wait(45)
    house.tell(SirenReported(on=False))

    assert house.state.wake_ms <= until_ms


# --- delivery -------------------------------------------------------------------------------------------


def test_delivery_is_noted_and_no_answer() -> None:
    """A message on the phone is not yet read: the calls go on."""
    house = raise_alarm()
    (first,) = house.messages
    house.tell(EffectDone(first.effect_id, "taken"))
    house.tell(MessageDelivered(first.effect_id))

    assert any("delivered" in note for note in house.notes)
    assert house.state.durable.unreported == {}
    house.wait(5, speaking=LOW)
    assert "deputy" in house.told


def test_a_delivery_may_be_heard_of_before_the_taking() -> None:
    """The two words come by different threads; either order ends the same."""
    house = raise_alarm()
    (first,) = house.messages
    house.tell(MessageDelivered(first.effect_id), EffectDone(first.effect_id, "taken"))

    assert house.state.durable.unreported == {}
    assert first.effect_id not in house.state.durable.outstanding


def test_a_message_that_does_not_arrive_moves_on_to_the_next_person_at_once() -> None:
    """A failure after the taking counts as one before it."""
    house = raise_alarm()
    (first,) = house.messages
    house.tell(EffectDone(first.effect_id, "taken"))
    house.tell(EffectFailed(first.effect_id, "no word of its delivery for 5 min"))

    assert "deputy" in house.told
    assert "no word" in house.state.troubles[Watched.MESSAGES]
    (second,) = [message for message in house.messages if message.person == "deputy"]
    house.tell(EffectDone(second.effect_id, "taken"))
    # The deputy was reached; of the keeper's path that says nothing.
    assert "to keeper" in house.state.troubles[Watched.MESSAGES]


def test_what_is_remembered_of_reports_is_bounded() -> None:
    """Without a single report the memory does not grow without end."""
    house = raise_alarm()
    for _ in range(40):
        house.wait(30, speaking=LOW)
        house.tell(*(EffectDone(message.effect_id) for message in house.messages))

    assert 0 < len(house.state.durable.unreported) <= 100


# --- the siren ------------------------------------------------------------------------------------------


def sounds(house: House) -> list[int]:
    """Tell for how long [s] the last line let the siren sound, each time."""
    return [sound.run_at_most_ms // SECOND_MS for sound in gather(house.effects, SoundSiren)]


def test_the_siren_sounds_three_minutes_of_five_until_somebody_has_it() -> None:
    """At once with the emergency, again after each pause, silenced by the answer."""
    house = raise_alarm(siren=True)
    assert sounds(house) == [180]
    assert house.alarm().raised_ms == house.state.playing.until_ms - 180 * SECOND_MS
    house.wait(20, speaking=LOW)
    assert sounds(house) == [180] * 4
    reply(house, house.alarm().code)
    assert sounds(house) in ([0], [])
    house.wait(20, speaking=LOW)

    assert sounds(house) == []


def test_an_answer_silences_it_at_once() -> None:
    """The first word of who has it ends the noise."""
    house = raise_alarm(siren=True)
    reply(house, house.alarm().code)

    assert sounds(house) == [0]


def test_the_end_of_the_emergency_silences_it() -> None:
    """What is over needs no siren, though the calls still want an answer."""
    house = raise_alarm(siren=True)
    house.wait(2, speaking=FINE)

    assert sounds(house) == [0]
    assert house.alarm().phase is Phase.RETURNED


def test_a_siren_that_cannot_be_told_is_told_again_soon() -> None:
    """Without a broker it is tried every quarter of a minute."""
    house = raise_alarm(siren=True)
    (sound,) = gather(house.effects, SoundSiren)
    house.tell(EffectFailed(sound.effect_id, "there is no connection to the broker"))
    house.wait(seconds=14)
    assert sounds(house) == []
    house.wait(seconds=2)

    assert sounds(house) == [180]


def test_it_sounds_again_after_a_restart_in_an_emergency() -> None:
    """Nobody knows whether it still sounds; it is told anew."""
    house = raise_alarm(siren=True)
    house.restart(1)

    assert sounds(house) == [180]


def test_without_a_siren_nothing_sounds_and_taking_it_away_is_no_trouble() -> None:
    """A house without a siren never orders one, not even in the middle of an emergency."""
    house = raise_alarm(siren=True)
    house.tell(SettingsChanged(make_text_plan()))
    house.wait(20, speaking=LOW)
    assert sounds(house) == []
    house.tell(SettingsChanged(make_text_plan(siren=True)))

    assert sounds(house) == [180]


def test_its_reports_are_noted() -> None:
    """What the siren says stands in the record."""
    house = House(make_text_plan(siren=True)).tell(SirenReported(on=True))

    assert house.notes == ["siren: reported: it sounds"]


def test_a_siren_of_which_nothing_is_heard_after_a_restart_is_not_called_mended() -> None:
    """Silence is never "in order": only its own word that it obeys ends the fault."""
    fault = "siren does not obey"
    house = House(make_text_plan(siren=True)).read(**FINE)
    house.tell(TroubleSeen(Watched.SIREN, "the siren does not report that it sounds"))
    assert house.alarm(fault).phase is Phase.UNACKNOWLEDGED
    house.restart(1).wait(60, speaking=FINE)
    assert house.alarm(fault).phase is Phase.UNACKNOWLEDGED
    assert not [message for message in house.messages if "OVER" in message.text]
    house.tell(TroubleSeen(Watched.SIREN, None)).wait(5, speaking=FINE)

    assert house.alarm(fault).phase is Phase.RETURNED


def test_who_has_looked_at_a_siren_is_believed_until_it_sounds_again() -> None:
    """Nothing but an emergency makes it speak: without this the fault would be told again every half an hour."""
    fault = "siren does not obey"
    house = House(make_text_plan(siren=True)).read(**FINE)
    house.tell(TroubleSeen(Watched.SIREN, "the siren does not report that it sounds"))
    house.restart(1).wait(10, speaking=FINE)
    house.tell(AnswerGiven(house.alarm(fault).code, "keeper", "page")).wait(10, speaking=FINE)
    assert house.alarm(fault).phase is Phase.NORMAL
    house.tell(TroubleSeen(Watched.SIREN, "the siren does not report that it sounds"))

    assert house.alarm(fault).phase is Phase.UNACKNOWLEDGED


def test_a_siren_fault_ends_with_the_siren_that_is_taken_away() -> None:
    """Where there is no siren nothing is wrong with it, also after a restart."""
    fault = "siren does not obey"
    house = House(make_text_plan(siren=True)).read(**FINE)
    house.tell(TroubleSeen(Watched.SIREN, "the siren does not report that it sounds"))
    house.restart(1).tell(SettingsChanged(make_text_plan())).wait(5, speaking=FINE)

    assert house.alarm(fault).phase is Phase.RETURNED


@given(st.lists(st.tuples(st.booleans(), st.integers(0, 10 * MINUTE_MS)), min_size=1, max_size=40))
def test_whatever_happens_it_never_sounds_longer_than_its_time_without_a_pause(
    story: list[tuple[bool, int]],
) -> None:
    """Between two soundings of one emergency lies the pause; nothing is ordered while nothing is wanted."""
    playing, now = Playing(), 1
    until, wanted_since_order = 0, False
    for wanted, gone in story:
        now += gone
        playing, order = play(playing, wanted=wanted, on_ms=180_000, pause_ms=120_000, now=now)
        if order:
            assert wanted
            assert not wanted_since_order or now >= until + 120_000
            until, wanted_since_order = now + order, True
        if not wanted:
            assert not order
            wanted_since_order = False
        assert next_play_ms(playing) > now
