"""Replies: the right code from the right number answers, however it is written; nothing else ever does."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.plan.people import Person, Way
from controller.core.plan.phrases import ENGLISH, Phrases
from controller.core.replies import (
    CORRECTIONS_MOST,
    LETTERS_SENT_MOST,
    SENDERS_MOST,
    WRONG_MOST,
    Judgement,
    SenderRecord,
    Verdict,
    find_codes,
    find_person,
    forget_old,
    judge_reply,
    keep_record,
    normalise_number,
    refused_senders,
    write_correction,
    write_thanks,
)
from controller.core.units import HOUR_MS, MINUTE_MS

OPEN = {"4821": "tank oxygen low", "4830": "air pump off"}
HELD = {"5000": "deputy has it already"}
KEEPER = Person(name="keeper", email="Keeper@example.org", phone="+447700900123")
FRESH = SenderRecord()
NOW = 5 * HOUR_MS


def judge(text: str, record: SenderRecord = FRESH, *, known: bool = True, now: int = NOW) -> Judgement:
    """Judge a reply while two alarms are open and one is held."""
    return judge_reply(record, text, known=known, open_alarms=OPEN, held=HELD, now=now)


@pytest.mark.parametrize(
    "text",
    [
        "4821",
        "ACK 4821",
        "ack 4821",
        "Ok, 4821! On my way.",
        "Ok. 4821",
        "4821 on my way",
        "ON MY WAY 4821 THANKS",
        "Yes got it, 4821",
        "I\u2019ve got it 4821",
        "please 4821 \U0001f44d",
        " 4821\n",
        "4821\u200b",
        "code:4821;",
        "  4821\n",
        "4 8 2 1",
        "48-21",
        "４８２１",  # noqa: RUF001 - full-width digits, as some keyboards write them
        "٤٨٢١",
        "4821 no problem",
        "4281 4821",
        "ok 4821 > DUSKBELL EMERGENCY: not this 4830?",
        "got it, driving now 4821",
        "thanks 4821 going there",
        "I am on it 4821 need 10 min",
        "4821 received",
        "seen 4821",
        "4821 i got this",
        "Answer 4821",
        "4821\n\nSent from my iPhone",
        "4821\n\n-- \nNot the farm office",
        "hi its anna, 4821",
        "4821 in the car",
        "I\u2019m driving, 4821",
        "4821 10min away",
        "4821 not a problem",
        "driving there, will call you 4821",
        "right away! 4821",
        "4821 at 03:10, 20 min",
    ],
)
def test_the_right_code_answers_however_it_is_written(text: str) -> None:
    """Case, extra words, other digits and digits apart do not matter; a slip beside the right code neither."""
    judgement = judge(text)

    assert (judgement.verdict, judgement.codes) == (Verdict.ANSWERS, ("4821",))
    assert judgement.record == FRESH
    assert not judgement.correction


def test_two_codes_answer_two_alarms() -> None:
    """Somebody who names both has both."""
    assert judge("4821 and 4830").codes == ("4821", "4830")


@pytest.mark.parametrize(
    "text",
    [
        "4821?",
        "can't come, 4821",
        "I cannot do 4821",
        "NO 4821",
        "help 4821",
        "not me 4821",
        "5000 don't know",
        "I am ill, 4821",
        "sick in bed 4821",
        "4821 ask the deputy",
        "4821 too far away",
        "abroad until Monday, 4821",
        "will you have it 4821",
        "you go 4821",
        "sorry 4821",
        "Nein 4821",
        "4821 \U0001f44e",
        "4821 later",
        "not now, ok 4821",
        "4821 coming tomorrow",
        "no4821",
        "cant 4821",
        "don\u2019t count on me 4821",
        "unable 4821",
        "busy 4821",
        "unavailable 4821",
        "out of town, 4821",
        "call anna instead 4821",
        "I'm away 4821",
        "somebody else please 4821",
        "wrong number 4821",
        "STOP 4821",
        "? 4821",
        "who has 4821?",
        "no problem, but not before noon 4821",
        "4821\n\nsorry, in bed with a fever",
    ],
)
def test_what_may_mean_the_opposite_is_no_answer(text: str) -> None:
    """The calls must not stop for a person who says that they cannot; they are told how to answer."""
    judgement = judge(text)

    assert judgement.verdict is Verdict.DECLINES
    assert judgement.codes == ()
    assert "send the code alone if you have it" in judgement.correction
    assert "The calls go on" in judgement.correction


def test_words_of_the_catalogue_answer_besides_the_english_ones() -> None:
    """People answer in their own language; what is in neither list is asked back."""
    phrases = Phrases(yes_words="ja, kein Problem", no_words="nicht, kann, krank, morgen, kein")

    def say(text: str) -> Verdict:
        return judge_reply(
            FRESH, text, known=True, open_alarms=OPEN, held=HELD, now=NOW, phrases=phrases
        ).verdict

    assert say("JA 4821, bin unterwegs") is Verdict.ANSWERS
    assert say("Kein Problem! 4821") is Verdict.ANSWERS
    assert say("4821 bin krank") is Verdict.DECLINES
    assert say("Morgen, 4821") is Verdict.DECLINES
    assert say("I cannot, 4821") is Verdict.DECLINES


@given(
    st.sampled_from([each.strip() for each in ENGLISH.no_words.split(",")]),
    st.lists(st.sampled_from(["ok", "thanks", "going", "there", "4830", "1234"]), max_size=4),
    st.randoms(use_true_random=False),
)
def test_one_word_of_refusal_among_any_others_is_asked_back(
    no: str, others: list[str], chance: Random
) -> None:
    """With the right code beside it, in any place and case: the calls go on."""
    said = [no.upper() if chance.random() < 0.5 else no, "4821", *others]
    chance.shuffle(said)

    assert judge(" ".join(said)).verdict is Verdict.DECLINES


@pytest.mark.parametrize(
    "text",
    [
        "Automatic reply: I am away. 4821",
        "AUTO-REPLY 4821",
        "I'm driving, will call later. You wrote: code 4821",
        "Out of office until Monday 4821",
        "This is an automated response 4821",
        "Automatische Antwort 4821",
        "I'm driving with Do Not Disturb turned on. I'll see your message when I get there. 4821",
        "I\u2019m driving and will see your message when I arrive. 4821",
        "On holiday until Monday 4821",
        "I am on annual leave\nuntil 5 July 4821",
    ],
)
def test_an_automatic_reply_never_answers_and_is_never_written_to(text: str) -> None:
    """A machine that quotes the code stops nothing, and nothing is written back, as it would answer that too."""
    judgement = judge(text)

    assert judgement == Judgement(FRESH, Verdict.MACHINE)


def test_our_own_message_quoted_back_answers_nothing() -> None:
    """A phone that sends the message back as it came has not said anything."""
    judgement = judge("DUSKBELL EMERGENCY: tank oxygen low. Answer with code 4821.")

    assert judgement.verdict is Verdict.NO_CODE


def test_a_wrong_code_is_answered_with_the_open_ones() -> None:
    """The person learns which codes are open; the wrong one is counted."""
    judgement = judge("ack 1234")

    assert judgement.verdict is Verdict.WRONG
    assert judgement.record.wrong == (NOW,)
    assert (
        judgement.correction
        == "DUSKBELL: 1234 is no open alarm. Open: 4821 tank oxygen low, 4830 air pump off. "
        "Answer with the code alone."
    )


def test_no_code_is_answered_with_the_open_ones_and_not_counted() -> None:
    """Plain words are no guess."""
    judgement = judge("ok thanks")

    assert judgement.verdict is Verdict.NO_CODE
    assert judgement.record.wrong == ()
    assert "4821 tank oxygen low" in judgement.correction


def test_a_late_answer_is_told_who_has_it() -> None:
    """An answer for an alarm somebody has is no guess, and gets their name."""
    judgement = judge("5000")

    assert judgement.verdict is Verdict.LATE
    assert judgement.correction == "DUSKBELL: 5000: deputy has it already."
    assert judgement.record.wrong == ()


@pytest.mark.parametrize("text", ["4821", "1234", "hello"])
def test_a_stranger_is_never_answered_and_answers_nothing(text: str) -> None:
    """The right code from an unknown number is nothing, and the stranger does not learn that it was right."""
    judgement = judge(text, known=False)

    assert (judgement.verdict, judgement.codes, judgement.correction) == (Verdict.STRANGER, (), "")
    assert len(judgement.record.wrong) == (text != "hello")


@pytest.mark.parametrize("known", [True, False])
def test_five_wrong_codes_within_an_hour_lock_a_number_for_an_hour(known: bool) -> None:  # noqa: FBT001 - a case
    """The fifth locks; then even the right code is refused; after the hour it counts again."""
    record = FRESH
    for guess in range(WRONG_MOST):
        judgement = judge(f"{1000 + guess}", record, known=known, now=NOW + guess * MINUTE_MS)
        record = judgement.record
        assert judgement.locks == (guess == WRONG_MOST - 1)
    locked_ms = NOW + (WRONG_MOST - 1) * MINUTE_MS

    assert judge("4821", record, known=known, now=locked_ms + HOUR_MS - 1).verdict is Verdict.REFUSED
    after = judge("4821", record, known=known, now=locked_ms + HOUR_MS)
    assert after.verdict is (Verdict.ANSWERS if known else Verdict.STRANGER)


def test_a_refused_number_that_sends_the_right_code_is_told_once() -> None:
    """Known and with the right code: once an hour of refusal; not for a wrong one, a machine or a stranger."""
    locked = SenderRecord(refused_until_ms=NOW + HOUR_MS)
    for text, known in (("1234", True), ("auto-reply 4821", True), ("4821", False)):
        assert not judge(text, locked, known=known).tells_refusal
    first = judge("4821", locked)
    second = judge("4821", forget_old(first.record, NOW + 1), now=NOW + 1)
    assert (first.verdict, second.verdict) == (Verdict.REFUSED, Verdict.REFUSED)
    assert (first.tells_refusal, second.tells_refusal) == (True, False)
    assert forget_old(first.record, NOW + HOUR_MS) == FRESH


def test_wrong_codes_are_always_corrected_until_the_number_is_refused() -> None:
    """After other corrections too: four times the open list, then that the number is refused."""
    record, said = FRESH, []
    for number in range(CORRECTIONS_MOST):
        record = judge("what is it", record, now=NOW + number).record
    for guess in range(WRONG_MOST):
        judgement = judge(f"{1000 + guess}", record, now=NOW + 10 + guess)
        record, said = judgement.record, [*said, judgement.correction]

    assert all("4821 tank oxygen low" in text for text in said[:-1])
    assert "refused for an hour" in said[-1]


def test_wrong_codes_spread_over_hours_lock_nothing() -> None:
    """A person who slips now and then is not locked out."""
    record = FRESH
    for guess in range(20):
        judgement = judge("1234", record, now=NOW + guess * 16 * MINUTE_MS)
        record = judgement.record
        assert not judgement.locks


def test_a_person_is_corrected_three_times_an_hour_at_most() -> None:
    """Further replies are judged as before and not written to; after an hour they are again."""
    record, told = FRESH, 0
    for number in range(10):
        judgement = judge("what is it", record, now=NOW + number)
        record, told = judgement.record, told + bool(judgement.correction)

    assert told == CORRECTIONS_MOST
    assert judge("what is it", record, now=NOW + HOUR_MS + 10).correction


@given(st.text(max_size=600))
def test_no_text_without_an_open_code_answers(text: str) -> None:
    """Whatever is written, only an open code that stands in it answers."""
    judgement = judge(text)

    assert set(judgement.codes) <= set(OPEN)
    assert all(code in find_codes(text) for code in judgement.codes)
    assert len(judgement.correction) <= LETTERS_SENT_MOST


@given(st.dictionaries(st.from_regex(r"[1-9][0-9]{3}", fullmatch=True), st.text(max_size=40), max_size=40))
def test_a_correction_is_one_message_and_counts_all(open_alarms: dict[str, str]) -> None:
    """However many alarms are open, the correction fits; what is not listed is counted."""
    correction = write_correction(("0000",), open_alarms)

    assert len(correction) <= LETTERS_SENT_MOST
    listed = [code for code, name in open_alarms.items() if f"{code} {name}" in correction]
    left = len(open_alarms) - len(listed)
    assert not open_alarms or not left or f"{left} " in correction or len(listed) > 0


def test_thanks_fit_one_message() -> None:
    """With the longest names of alarm and person the confirmation is one message."""
    assert len(write_thanks("4821", "a" * 40, "p" * 20)) <= LETTERS_SENT_MOST


@pytest.mark.parametrize(
    ("sender", "number"),
    [
        ("+447700900123", "+447700900123"),
        (" +44 7700 900-123 ", "+447700900123"),
        ("00447700900123", "+447700900123"),
        ("(+44) 7700/900.123", "+447700900123"),
        ("07700900123", "07700900123"),
        ("Operator Ltd", "Operator Ltd"),
        ("", ""),
    ],
)
def test_numbers_are_compared_in_one_form(sender: str, number: str) -> None:
    """Spaces, signs between digits and a leading 00 do not matter; a name stays a name."""
    assert normalise_number(sender) == number


def test_a_person_is_found_by_the_exact_number_only() -> None:
    """A number that ends alike, a national form or a name is nobody's; an address is compared without case."""
    people = (Person(name="deputy", email="d@example.org"), KEEPER)

    assert find_person(people, Way.TEXT, "+44 7700 900123") == KEEPER
    assert find_person(people, Way.EMAIL, "keeper@EXAMPLE.org") == KEEPER
    for stranger in ("+447700900124", "7700900123", "07700900123", "+4477009001234", "keeper", ""):
        assert find_person(people, Way.TEXT, stranger) is None
    assert find_person(people, Way.WEBHOOK, "keeper@example.org") is None


def test_records_are_bounded_and_a_locked_number_stays() -> None:
    """Any number of strangers leaves a bounded memory in which a locked number is still locked."""
    records = keep_record({}, "locked", SenderRecord(refused_until_ms=NOW + HOUR_MS), NOW)
    for number in range(3 * SENDERS_MOST):
        records = keep_record(records, f"+{number}", SenderRecord(wrong=(NOW,)), NOW)

    assert len(records) == SENDERS_MOST
    assert refused_senders(records, NOW) == {"locked": NOW + HOUR_MS}
    assert keep_record(records, "+1", FRESH, NOW + HOUR_MS) == {}


@given(st.lists(st.integers(0, 10 * HOUR_MS), max_size=8), st.integers(0, 10 * HOUR_MS))
def test_forgetting_keeps_the_last_hour(times: list[int], now: int) -> None:
    """What is kept is exactly what happened within the hour; forgetting twice changes nothing more."""
    record = forget_old(SenderRecord(tuple(times), tuple(times), now + 1), now)

    assert record.wrong == tuple(at for at in times if now - at < HOUR_MS)
    assert forget_old(record, now) == record
