"""What comes back from people and from the siren: replies, delivery reports; and what is told to the siren."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from controller.core import outcomes, sound
from controller.core.alarms.call_list import address_of
from controller.core.alarms.chain import prove
from controller.core.alarms.lifecycle import SOUNDING, Phase
from controller.core.alarms.septets import cut_message
from controller.core.alarms.siren import next_play_ms, play
from controller.core.alarms.wording import SPEAKER, clock_words
from controller.core.call import find_people, quiet_left
from controller.core.draft import Draft, with_item, without_item
from controller.core.plan.alarm import Response, Watched
from controller.core.plan.people import Person, Way
from controller.core.post import Letter, post_by_all_ways
from controller.core.replies import (
    Judgement,
    SenderRecord,
    Verdict,
    find_codes,
    find_person,
    judge_reply,
    keep_record,
    normalise_number,
    refused_senders,
    write_refused,
    write_test_thanks,
    write_thanks,
)
from controller.core.signals.sense import NEVER
from controller.core.units import HOUR_MS, MINUTE_MS, SECOND_MS, HouseMs
from controller.core.vocabulary import (
    AnswerGiven,
    EffectDone,
    EffectFailed,
    GuessesSeen,
    Ledger,
    MessageDelivered,
    ReplyReceived,
    SendMessage,
    SirenReported,
    SoundSiren,
)

REPORTED_MOST: Final = 100
"""Messages taken and not yet reported delivered that are remembered; a report on an older one is only noted."""

REPORT_COMES_MS: Final = HOUR_MS
"""So long past its validity a report on a message is still waited for. [ms]"""

SENDER_LETTERS_MOST: Final = 40
STRANGERS_TOLD_MOST: Final = 5
"""Unknown numbers of which people are told within an hour; the record has them all."""

TEXT_LETTERS_MOST: Final = 60
"""So much of a stranger's number and text goes into the record."""

SIREN_EXPIRES_MS: Final = 30 * SECOND_MS
"""A command to the siren that comes later than this is not carried out. [ms]"""

SIREN_RETRY_MS: Final = 15 * SECOND_MS
"""Wait before a siren that could not be told is told again. [ms]"""


def take_in(draft: Draft, event: MessageDelivered | ReplyReceived | SirenReported | GuessesSeen) -> None:
    """Take in what has come back."""
    match event:
        case MessageDelivered():
            take_delivery(draft, event)
        case ReplyReceived():
            take_reply(draft, event)
        case GuessesSeen(client):
            client = client[:SENDER_LETTERS_MOST]
            refused = SenderRecord(refused_until_ms=draft.now + HOUR_MS)
            draft.senders = keep_record(draft.senders, f"page {client}", refused, draft.now)
            draft.note(
                Ledger.CALL,
                "answers",
                Verdict.REFUSED.value,
                f"five wrong codes from {client}: refused for an hour",
            )
        case SirenReported(on):
            draft.note(Ledger.CALL, "siren", "reported", "it sounds" if on else "it is silent")


# --- replies --------------------------------------------------------------------------------------------


def take_reply(draft: Draft, event: ReplyReceived) -> None:
    """Take in what somebody has written back."""
    sender = normalise_number(event.sender)[:SENDER_LETTERS_MOST]
    person = find_person(draft.plan.person, event.way, event.sender)
    name = f"{event.way.value} {sender}"
    open_alarms, held = _open_alarms(draft)
    judgement = judge_reply(
        draft.senders.get(name, SenderRecord()),
        event.text,
        known=person is not None,
        open_alarms=open_alarms,
        held=held,
        now=draft.now,
        phrases=draft.plan.phrases,
    )
    draft.senders = keep_record(draft.senders, name, judgement.record, draft.now)
    who = sender if person is None else person.name
    said = _one_line(event.text)
    draft.note(Ledger.CALL, "answers", judgement.verdict.value, f"{who} by {event.way.value}: {said!r}")
    if judgement.tells:
        _tell_of_stranger(draft, sender, event.text, open_alarms)
    if person is not None:
        _act_on(draft, event.way, person, judgement, open_alarms)
    if judgement.locks:
        draft.note(
            Ledger.CALL, "answers", Verdict.REFUSED.value, f"five wrong codes from {who}: refused for an hour"
        )


def _open_alarms(draft: Draft) -> tuple[dict[str, str], dict[str, str]]:
    """List the codes for which people are being called, and those that somebody has."""
    open_alarms: dict[str, str] = {}
    held: dict[str, str] = {}
    for name, alarm in draft.alarms.items():
        if alarm.phase in SOUNDING:
            open_alarms[alarm.code] = name
        elif alarm.phase in {Phase.ACKNOWLEDGED, Phase.LATCHED_ACKNOWLEDGED}:
            held[alarm.code] = draft.plan.phrases.has_it_already.format(person=alarm.answered_by)
    open_alarms |= {test.code: "test call" for test in draft.chain.tests}
    return open_alarms, held


def _act_on(
    draft: Draft, way: Way, person: Person, judgement: Judgement, open_alarms: dict[str, str]
) -> None:
    """Carry out what a person's reply means, and write back."""
    tests = {test.code for test in draft.chain.tests}
    for code in judgement.codes:
        sound.take_answer(draft, AnswerGiven(code, person.name, way.value))
        phrases = draft.plan.phrases
        if code in tests:
            thanks = write_test_thanks(person.name, phrases)
        else:
            thanks = write_thanks(code, open_alarms[code], person.name, phrases)
        _write_back(draft, way, person, thanks)
    if judgement.tells_refusal:
        until_ms = draft.stamp.utc_ms + judgement.record.refused_until_ms - draft.now
        phrases = draft.plan.phrases
        time = clock_words(until_ms, draft.stamp, phrases)
        _write_back(draft, way, person, write_refused(time, phrases))
        draft.note(Ledger.CALL, "answers", "right code refused", f"{person.name} was told: until {time}")
    if judgement.correction:
        _write_back(draft, way, person, judgement.correction)


def _tell_of_stranger(draft: Draft, number: str, text: str, open_alarms: dict[str, str]) -> None:
    """Tell those on duty that a number which is nobody's sends codes; of so many numbers an hour at most."""
    if sum(bool(record.corrected) for record in draft.senders.values()) > STRANGERS_TOLD_MOST:
        return
    phrases = draft.plan.phrases
    right = next((open_alarms[code] for code in find_codes(text) if code in open_alarms), None)
    what = phrases.stranger_wrong if right is None else phrases.stranger_right.format(name=right)
    words = f"{SPEAKER} {phrases.stranger.format(number=number, what=what)}"
    letter = Letter("answers", "answers/stranger", words, words, cut_message(words), repeats=True)
    steps, _ = find_people(draft, Response.TODAY)
    for person in steps[0].people if steps else ():
        post_by_all_ways(draft, letter, person, Response.TODAY, silently=quiet_left(draft) > 0)


def _write_back(draft: Draft, way: Way, person: Person, text: str) -> None:
    """Write to a person by the way they wrote. Nothing hangs on its arrival, so it is not remembered."""
    address = address_of(person, way)
    if address:
        draft.effects.append(
            SendMessage(
                draft.effect_id(),
                person.name,
                way,
                address,
                f"{SPEAKER}: {draft.plan.phrases.reply_subject}",
                text,
                "answers",
            )
        )


def tell_refusals(draft: Draft) -> None:
    """Say which numbers are refused for guessing, and that it is over when the hour has passed."""
    if not draft.senders and Watched.REPLIES not in draft.troubles:
        return
    refused = refused_senders(draft.senders, draft.now)
    texts = [
        f"five wrong codes from {_name_sender(draft, name)}: refused until "
        f"{clock_words(draft.stamp.utc_ms + until_ms - draft.now, draft.stamp)}"
        for name, until_ms in refused.items()
    ]
    draft.set_trouble(Watched.REPLIES, "; ".join(texts[:2]) or None)


def _name_sender(draft: Draft, record: str) -> str:
    """Name who a record of answers is of: a person of the house by name, anybody else by number or address."""
    way, _, sender = record.partition(" ")
    ways = [each for each in Way if each.value == way]
    person = find_person(draft.plan.person, ways[0], sender) if ways else None
    return sender if person is None else person.name


def _one_line(text: str) -> str:
    return "".join(sign if sign.isprintable() else " " for sign in text[:TEXT_LETTERS_MOST])


# --- delivery -------------------------------------------------------------------------------------------


def expect_report(draft: Draft, event: EffectDone) -> None:
    """Remember a text message that the network has taken: whether it arrives is yet to be heard."""
    under_way = draft.outstanding.get(event.effect_id)
    if under_way is None or under_way.message.way is not Way.TEXT:
        return
    reported = with_item(draft.unreported, event.effect_id, replace(under_way, references=event.references))
    modem = draft.plan.modem
    since_ms = draft.now - (REPORT_COMES_MS + (modem.valid_min if modem is not None else 0) * MINUTE_MS)
    reported = {name: each for name, each in reported.items() if each.queued_ms > since_ms}
    while len(reported) > REPORTED_MOST:
        reported = without_item(reported, next(iter(reported)))
    draft.unreported = reported


def take_delivery(draft: Draft, event: MessageDelivered) -> None:
    """Take in that a message has reached a phone. It may come before the word that the network has taken it."""
    _recall(draft, event.effect_id)
    under_way = draft.outstanding.get(event.effect_id)
    if under_way is not None:
        draft.chain = prove(draft.chain, under_way.message.person, under_way.message.way.value, draft.now)
    outcomes.take_success(draft, EffectDone(event.effect_id, "and delivered"))


def take_late_failure(draft: Draft, event: EffectFailed) -> bool:
    """Take in that a message which had been taken does not arrive: go on to the next person. False if none was."""
    return _recall(draft, event.effect_id) and outcomes.take_failure(draft, event)


def _recall(draft: Draft, effect_id: str) -> bool:
    """Put a message whose report was awaited back among those under way."""
    under_way = draft.unreported.get(effect_id)
    if under_way is None:
        return False
    draft.unreported = without_item(draft.unreported, effect_id)
    draft.set_outstanding(effect_id, under_way)
    return True


# --- the siren ------------------------------------------------------------------------------------------


def follow_siren(draft: Draft) -> None:
    """Let the siren sound while an emergency is active and nobody has it; silence it when somebody has."""
    siren = draft.plan.siren
    playing = draft.playing
    unchanged = (
        playing.judged and draft.alarms is draft.state.durable.alarms and draft.plan is draft.state.plan
    )
    if siren is None or (unchanged and draft.now < next_play_ms(playing)):
        return
    calling = [
        name
        for name, alarm in draft.alarms.items()
        if alarm.phase is Phase.UNACKNOWLEDGED
        and (entry := draft.roll.entries.get(name)) is not None
        and entry.response is Response.EMERGENCY
    ]
    playing, on_ms = play(
        playing,
        wanted=bool(calling),
        on_ms=round(siren.longest_on_s * SECOND_MS),
        pause_ms=round(siren.pause_s * SECOND_MS),
        now=draft.now,
    )
    if on_ms is not None:
        reason = f"nobody has answered: {', '.join(calling)}" if calling else "somebody has it, or it is over"
        effect_id = draft.effect_id()
        playing = replace(playing, effect_id=effect_id)
        draft.effects.append(
            SoundSiren(
                effect_id,
                on_ms,
                draft.stamp.utc_ms + SIREN_EXPIRES_MS,
                draft.now + SIREN_EXPIRES_MS,
                reason,
            )
        )
        draft.note(Ledger.CALL, "siren", "sounds" if on_ms else "silenced", reason)
    draft.playing = playing


def hear_of_siren(draft: Draft, part: Watched) -> None:
    """Take note that something was heard of whether the siren obeys: only then is it known after a start."""
    if part is Watched.SIREN and not draft.playing.spoke:
        draft.playing = replace(draft.playing, spoke=True)
        draft.due_alarms.update(draft.roll.alarms_of_part.get(part, ()))


def take_siren_failure(draft: Draft, event: EffectFailed) -> bool:
    """Take in that the siren could not be told: try again soon. False if it was not the siren's command."""
    playing = draft.playing
    if not playing.effect_id or event.effect_id != playing.effect_id:
        return False
    draft.note(Ledger.CALL, "siren", "failed", f"the siren could not be told: {event.reason}")
    draft.playing = replace(playing, until_ms=draft.now, free_ms=draft.now + SIREN_RETRY_MS)
    return True


def next_look_ms(draft: Draft) -> HouseMs:
    """Return when time alone has work here [ms]."""
    refused = refused_senders(draft.senders, draft.now) if draft.senders else {}
    siren_ms = next_play_ms(draft.playing) if draft.plan.siren is not None else NEVER
    return min((siren_ms, *refused.values()))
