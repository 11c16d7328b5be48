"""What people write back: who it is, which alarm they mean, and what to write to them in turn.

An answer stops the calls, so it takes a known number *and* the right code. What else is said does not matter,
unless it refuses ("ill, 4821"), asks, or looks like a machine. Wrong codes are counted, for somebody may be
guessing.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import Enum
from typing import Final

from controller.core.alarms.wording import SPEAKER
from controller.core.plan.people import Person, Way
from controller.core.plan.phrases import ENGLISH, Phrases
from controller.core.units import HOUR_MS, HouseMs

WRONG_MOST: Final = 5
"""So many wrong codes from one number within an hour, and it is refused for an hour."""

CORRECTIONS_MOST: Final = 3
"""Letters of correction to one number within an hour, besides those for its wrong codes."""

SENDERS_MOST: Final = 50
"""Numbers remembered at once; the one heard of longest ago is forgotten first."""

LETTERS_READ_MOST: Final = 500
"""So much of a reply is looked at; a code stands at its beginning or not at all."""

LETTERS_SENT_MOST: Final = 160
"""Letters of a correction: one text message."""

_FOUR: Final = re.compile(r"(?<![0-9])[0-9]{4}(?![0-9])")
_SPREAD: Final = re.compile(r"(?<![0-9])[0-9](?:[ .-][0-9]|[0-9]){3}(?![ .-]?[0-9])")

# Words by which machines give themselves away. RFC 3834 marks mails; text messages have only their words.
_MACHINE: Final = re.compile(
    r"\bauto(?:mat(?:ic|ed|isch\w*|ique)?)?[ -]?(?:reply|replied|response|answer|generated|antwort\w*)\b"
    r"|\bautomatic(?:ally)?\b|\bout of (?:the )?office\b|\babwesenheit|\bvacation\b"
    r"|\bon (?:annual )?(?:leave|holidays?)\b.*?\buntil\b|\bdo not disturb\b|\bdo not reply\b|\bno-?reply\b"
    r"|\bdriving\b.*?\b(?:(?:will|'ll|shall) (?:see|read|reply|respond|answer|get back"
    r"|call (?:you )?(?:later|back|when))|you wrote)\b"
    r"|\bdelivery (?:failed|failure|status)\b|\bundeliver",
    re.IGNORECASE | re.DOTALL,
)

# A question, a thumb down, crosses, and the sign for no good or no entry: no yes, whatever else is said.
_SIGNS_OF_NO: Final = re.compile(
    r"[?\u00bf\u061f\uff1f\u2049\u2753\u2754\U0001f44e\u274c\u274e\u2717\u2718\U0001f645\U0001f6ab\u26d4]"
)

_WORD: Final = re.compile(r"[^\W\d_]+(?:'[^\W\d_]+)*")

# What follows a blank line and begins like a signature; anything else there is still the person's word.
_SIGNATURE: Final = re.compile(
    r"\n[ \t]*\n\s*(?:--|\u2014|sent (?:from|via|with)\b|get outlook\b|gesendet von\b|envoy\w* (?:de|depuis)\b"
    r"|enviado desde\b|(?:kind |best |warm )?regards\b|best wishes\b|cheers\b).*",
    re.IGNORECASE | re.DOTALL,
)


@dataclass(frozen=True, slots=True)
class SenderRecord:
    """What is remembered of one number: when it sent wrong codes, was corrected, and until when it is refused.

    `refusal_told` says that it has sent a right code since and has been told that it is refused.
    """

    wrong: tuple[HouseMs, ...] = ()
    corrected: tuple[HouseMs, ...] = ()
    refused_until_ms: HouseMs = 0
    refusal_told: bool = False


class Verdict(Enum):
    """What a reply is taken for."""

    ANSWERS = "answers"
    LATE = "somebody has it already"
    DECLINES = "asked back: it may be a refusal"
    WRONG = "wrong code"
    NO_CODE = "no code"
    STRANGER = "unknown number"
    MACHINE = "automatic reply"
    REFUSED = "number refused after too many wrong codes"


@dataclass(frozen=True, slots=True)
class Judgement:
    """What became of a reply. `codes` are those it answers; `correction` is what to write back, if anything.

    `tells` says that those on duty are to hear of a stranger who knows of codes, `tells_refusal` that the number
    is to hear until when its right code is refused.
    """

    record: SenderRecord
    verdict: Verdict
    codes: tuple[str, ...] = ()
    correction: str = ""
    locks: bool = False
    tells: bool = False
    tells_refusal: bool = False


def normalise_number(sender: str) -> str:
    """Write a number as the settings have it: `+` and digits; anything else comes back without its spaces."""
    number = unicodedata.normalize("NFKC", sender).strip()
    bare = re.sub(r"[ \-./()]", "", number)
    if re.fullmatch(r"00[1-9][0-9]{6,14}", bare):
        return f"+{bare[2:]}"
    return bare if re.fullmatch(r"\+?[0-9]+", bare) else number


def find_person(persons: Iterable[Person], way: Way, sender: str) -> Person | None:
    """Find whose number or address it is, exactly; a name in the sender's place is nobody's."""
    for person in persons:
        match way:
            case Way.TEXT if person.phone and person.phone == normalise_number(sender):
                return person
            case Way.EMAIL if person.email and person.email.casefold() == sender.strip().casefold():
                return person
            case _:
                continue
    return None


def own_words(text: str) -> str:
    """Cut a reply down to what the person wrote: what follows our own name is our message quoted back."""
    text = unicodedata.normalize("NFKC", text[:LETTERS_READ_MOST])
    place = text.upper().find(SPEAKER)
    return text if place < 0 else text[:place]


def _plain_digits(text: str) -> str:
    """Write the digits of any script as 0 to 9."""
    return "".join(str(unicodedata.decimal(sign)) if sign.isdecimal() else sign for sign in text)


def find_codes(text: str) -> tuple[str, ...]:
    """Find the four-digit groups of a text, in order, once each; digits of any script, spread or together."""
    text = _plain_digits(own_words(text))
    found = _FOUR.findall(text) or [re.sub(r"[ .-]", "", each) for each in _SPREAD.findall(text)]
    return tuple(dict.fromkeys(found))


def is_refusal(text: str, no_words: str = ENGLISH.no_words, yes_words: str = ENGLISH.yes_words) -> bool:
    """Tell whether a reply refuses, puts off or asks, in the words of English or of the house's own language.

    Commas part the phrases of a list. Within a phrase of `yes_words` a word of refusal does not count: "no
    problem". A signature after a blank line is not the person's word.
    """
    said = _SIGNATURE.sub("", _plain_digits(own_words(text))).replace("\u2019", "'").casefold()
    said = "".join(sign for sign in said if unicodedata.category(sign) != "Cf")
    if _SIGNS_OF_NO.search(said):
        return True
    words = _WORD.findall(said)
    refusing = _read_phrases(f"{ENGLISH.no_words},{no_words}")
    assenting = [
        phrase
        for phrase in _read_phrases(f"{ENGLISH.yes_words},{yes_words}")
        if _find_phrase(phrase, refusing)
    ]
    while words:
        assent = next((phrase for phrase in assenting if words[: len(phrase)] == phrase), None)
        if assent is not None:
            words = words[len(assent) :]
            continue
        if words[0].endswith("n't") or any(words[: len(phrase)] == phrase for phrase in refusing):
            return True
        words = words[1:]
    return False


def _read_phrases(listed: str) -> list[list[str]]:
    """Read phrases that commas part, the longest first."""
    phrases = (_WORD.findall(each) for each in listed.replace("\u2019", "'").casefold().split(","))
    return sorted((phrase for phrase in phrases if phrase), key=len, reverse=True)


def _find_phrase(words: list[str], phrases: list[list[str]]) -> bool:
    """Tell whether one of the phrases stands within the words, and is not all of them."""
    return any(
        words[place : place + len(phrase)] == phrase and len(phrase) < len(words)
        for phrase in phrases
        for place in range(len(words))
    )


def judge_reply(
    record: SenderRecord,
    text: str,
    *,
    known: bool,
    open_alarms: Mapping[str, str],
    held: Mapping[str, str],
    now: HouseMs,
    phrases: Phrases = ENGLISH,
) -> Judgement:
    """Judge one reply.

    Parameters
    ----------
    record
        What is remembered of the number it came from.
    text
        What it says.
    known
        Whether the number is that of a person of the house.
    open_alarms
        Code and name of each alarm for which people are being called.
    held
        Code, and who has it, of each alarm that has been answered and is not over.
    now
        House time. [ms]
    phrases
        What is written back, and the words that refuse in the language of the house.
    """
    record = forget_old(record, now)
    codes = find_codes(text)
    machine = _MACHINE.search(text[:LETTERS_READ_MOST].replace("\u2019", "'")) is not None
    if now < record.refused_until_ms:
        tells = (
            known and not machine and not record.refusal_told and any(code in open_alarms for code in codes)
        )
        record = replace(record, refusal_told=record.refusal_told or tells)
        return Judgement(record, Verdict.REFUSED, tells_refusal=tells)
    if machine:
        # Never written to, or two machines would talk to each other all night.
        return Judgement(record, Verdict.MACHINE)
    if not known:
        # The right code from a stranger is a guess too, and is not told that it was right.
        if not codes:
            return Judgement(record, Verdict.STRANGER)
        tells = not record.corrected  # a stranger is never written to, so this says when people were told
        record = replace(record, corrected=(now,)) if tells else record
        return replace(_count_wrong(record, Verdict.STRANGER, now), tells=tells)
    right = tuple(code for code in codes if code in open_alarms)
    taken = tuple(code for code in codes if code in held)
    if (right or taken) and is_refusal(text, phrases.no_words, phrases.yes_words):
        words = phrases.reply_declined.format(code=(right or taken)[0])
        return _correct(Judgement(record, Verdict.DECLINES), f"{SPEAKER}: {words}", now)
    if right:
        return Judgement(record, Verdict.ANSWERS, right)
    if taken:
        return _correct(Judgement(record, Verdict.LATE), f"{SPEAKER}: {taken[0]}: {held[taken[0]]}.", now)
    correction = write_correction(codes, open_alarms, phrases)
    if not codes:
        return _correct(Judgement(record, Verdict.NO_CODE), correction, now)
    judgement = _count_wrong(record, Verdict.WRONG, now)
    if judgement.locks:
        correction = f"{SPEAKER}: {phrases.reply_locked}"
    return _correct(judgement, correction, now, always=True)  # five an hour at most, as the fifth locks


def _count_wrong(record: SenderRecord, verdict: Verdict, now: HouseMs) -> Judgement:
    """Count a wrong code, and refuse the number if there are too many."""
    wrong = (*record.wrong, now)
    if len(wrong) < WRONG_MOST:
        return Judgement(replace(record, wrong=wrong), verdict)
    # Counted anew after the hour, else one more slip would lock it again.
    return Judgement(replace(record, wrong=(), refused_until_ms=now + HOUR_MS), verdict, locks=True)


def _correct(judgement: Judgement, correction: str, now: HouseMs, *, always: bool = False) -> Judgement:
    """Write back, unless this number has been written to often enough."""
    record = judgement.record
    if not always and len(record.corrected) >= CORRECTIONS_MOST:
        return judgement
    return replace(
        judgement, record=replace(record, corrected=(*record.corrected, now)), correction=correction
    )


def write_correction(
    codes: tuple[str, ...], open_alarms: Mapping[str, str], phrases: Phrases = ENGLISH
) -> str:
    """Write which codes are open, as many as one text message holds."""
    said = phrases.reply_not_open.format(code=codes[0]) if codes else phrases.reply_no_code
    said = f"{SPEAKER}: {said}"
    if not open_alarms:
        return f"{said} {phrases.reply_none_open}"
    items = [f"{code} {name}" for code, name in open_alarms.items()]
    for shown in range(len(items), 0, -1):
        listed, left = ", ".join(items[:shown]), len(items) - shown
        if left:
            listed = phrases.and_others.format(names=listed, count=left)
        text = f"{said} {phrases.reply_open.format(names=listed)}"
        if len(text) <= LETTERS_SENT_MOST:
            return text
    return f"{said} {phrases.reply_many_open.format(count=len(items))}"


def write_refused(time: str, phrases: Phrases = ENGLISH) -> str:
    """Write that a number is refused, and until when."""
    return f"{SPEAKER}: {phrases.reply_refused.format(time=time)}"


def write_thanks(code: str, alarm: str, person: str, phrases: Phrases = ENGLISH) -> str:
    """Confirm to the person that the answer has been taken; people act on it."""
    return f"{SPEAKER}: {phrases.reply_thanks.format(code=code, person=person, name=alarm)}"


def write_test_thanks(person: str, phrases: Phrases = ENGLISH) -> str:
    """Confirm to the person that a test call has been answered; nothing is wrong and nothing sounds again."""
    return f"{SPEAKER}: {phrases.said_test.format(person=person)}"


def forget_old(record: SenderRecord, now: HouseMs) -> SenderRecord:
    """Forget what is more than an hour ago."""
    since = now - HOUR_MS
    return SenderRecord(
        tuple(at for at in record.wrong if at > since),
        tuple(at for at in record.corrected if at > since),
        record.refused_until_ms if record.refused_until_ms > now else 0,
        record.refusal_told and record.refused_until_ms > now,
    )


def keep_record(
    records: Mapping[str, SenderRecord], sender: str, record: SenderRecord, now: HouseMs
) -> Mapping[str, SenderRecord]:
    """Remember a number's record, last in order; without what is forgotten, and within bounds.

    A number that is refused is kept before others, so that strangers cannot push it out.
    """
    kept = {
        name: fresh
        for name, old in {**records, sender: record}.items()
        if (fresh := forget_old(old, now)) != SenderRecord() and name != sender
    }
    if forget_old(record, now) != SenderRecord():
        kept[sender] = record
    while len(kept) > SENDERS_MOST:
        free = [name for name, each in kept.items() if not each.refused_until_ms]
        del kept[(free or list(kept))[0]]
    return kept


def refused_senders(records: Mapping[str, SenderRecord], now: HouseMs) -> dict[str, HouseMs]:
    """Name the numbers that are refused now, and until when [ms]."""
    return {
        name: record.refused_until_ms for name, record in records.items() if record.refused_until_ms > now
    }
