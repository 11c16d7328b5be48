"""The fixed phrases of all messages, in English; a catalogue file may hold them in another language.

A word in {braces} is filled in when a message is written. A phrase of another language must hold the same
words in braces as the English one, so that no message loses its code, value or action.
"""

from __future__ import annotations

from controller.core.plan.part import Part, key


class Phrases(Part):
    """Every fixed phrase. Names of alarms, places and actions are the manager's own and stay as they are."""

    emergency: str = key("EMERGENCY", "First word of a message that calls until answered.")
    today: str = key("TODAY", "First word of a message for the person on duty.")
    note: str = key("NOTE", "First word of what is only written down.")
    weekdays: str = key("Mon Tue Wed Thu Fri Sat Sun", "Seven short words, with blanks between.")
    clock_not_set: str = key("{time} (clock not set)", "A time that may be wrong.")

    unknown: str = key("unknown", "A value that is not known.")
    was: str = key("{now}; before: {before}", "A value that is not known now, and what was known of it.")
    over: str = key("over", "A fault that is no more.")
    with_limit: str = key("{value} (limit {limit})", "A value and its limit.")
    rate: str = key("{value} per min (limit {limit})", "A change and its limit.")
    no_reading: str = key(
        "no reading of {sensor} ({why}): value UNKNOWN, not normal", "A sensor that is silent."
    )
    speaks_again: str = key("{sensor} speaks again: {value}", "A sensor that was silent and is not.")
    doubtful: str = key("{sensor} cannot be trusted: {why}", "A sensor that is doubted.")
    can_again: str = key("{sensor} can be trusted again: {value}", "A sensor that was doubted and is not.")
    due: str = key("a test of {sensor} is due, last value {value}", "A test kit that is due.")
    switch_on: str = key("{sensor} is on", "A switch.")
    switch_off: str = key("{sensor} is off", "A switch.")

    span_minutes: str = key("{minutes} min", "A span of time.")
    span_hours: str = key("{hours} h", "A span of more than two hours.")

    call: str = key(
        "{head}: {name}: {fact}. {place}. {harm} First: {action}. Since {since}. Answer with code {code}.",
        "A call, where there is room.",
    )
    harm_due: str = key("The {span} until harm are over.", "Time until harm, when it has passed.")
    harm: str = key("Harm in about {span}.", "Time until harm.")
    harm_live: str = key("Harm in {minutes} ({why}).", "Time until harm as it is reckoned now.")
    harm_now: str = key("Harm NOW.", "The value at which harm begins is passed.")
    nobody: str = key("Nobody has answered for {span}.", "The list has come to its end.")
    lapsed: str = key("{person} had it, and it is still wrong.", "An answer that did not help.")
    hides: str = key("Follows from it, not called: {names}.", "Alarms that a cause hides.")
    explain: str = key(
        "Usual cause: {cause}\nIf nobody acts: {consequence}\n\n"
        "{answers}\n"
        "The calls go on until somebody answers. Your own safety first: wet hands and mains do not go "
        "together.",
        "What a mail has room for besides.",
    )
    to_answer: str = key("To answer (which says: I have it):", "First line of how to answer, in a mail.")
    answer_by_text: str = key("  by text message: {code} to {number}", "How to answer from a phone.")
    answer_by_page: str = key("  on the page: {address} with code {code}", "How to answer on the page.")
    answer_by_command: str = key("  on the board: duskbell acknowledge {code}", "How to answer on the board.")
    answer_not_by_mail: str = key(
        "A reply to this mail is not read.", "Last line of how to answer, in a mail."
    )

    short: str = key(
        "{head}: {name} {fact}{place}, since {since}. {left}. {action}. Reply {code}",
        "A call as a text message.",
    )
    short_lapsed: str = key(
        "{head}: {name} STILL {fact}{place}, since {since}. {left}. {action}. Reply {code}",
        "A call that sounds again, as a text message.",
    )
    short_limit: str = key("{value} (limit {limit})", "Value and limit in a text message.")
    short_missing: str = key("UNKNOWN, no reading", "A silent sensor in a text message.")
    short_due: str = key("test is due", "A test kit that is due, in a text message.")
    short_doubtful: str = key("cannot be trusted", "A doubted sensor in a text message.")
    short_on: str = key("is on", "A switch in a text message.")
    short_off: str = key("is off", "A switch in a text message.")
    left_minutes: str = key("{minutes} min left", "Time until harm, short.")
    left_hours: str = key("{hours} h left", "Time until harm, short.")
    left_none: str = key("Harm NOW", "Time until harm has run out.")

    stranger: str = key(
        "STRANGER: {number}, which is nobody's here, sent {what}. It changed nothing.",
        "To who is on duty: an unknown number sends codes.",
    )
    stranger_right: str = key("the right code of {name}", "What a stranger sent.")
    stranger_wrong: str = key("a wrong code", "What a stranger sent.")
    yes_words: str = key(
        "ok, okay, ack, acknowledge, acknowledged, yes, yep, got it, i got it, i've got it, have it, i have it, on it, "
        "i'm on it, on my way, i'm on my way, i am on my way, coming, i'm coming, i am coming, thanks, thank you, "
        "thanks a lot, please, sure, roger, understood, no problem, no worries, code, and",
        "Words that may stand beside the code in an answer by text, besides the English ones; commas part them.",
    )

    flood: str = key(
        "{head}: {count} alarms at once. First {name} {code}: {action}. Also {others}",
        "Many alarms in one message, the cause first.",
    )
    and_more: str = key("and {count} more, see the page", "What did not fit.")

    answered: str = key(
        "ANSWERED: {name} [{code}]: {person} has it since {since}. Now: {fact}. You need not act unless "
        "{person} asks. It sounds again after {span} if still wrong.",
        "To the others: who has it.",
    )
    answered_subject: str = key("ANSWERED: {name} [{code}], by {person}", "Subject of that mail.")
    is_over: str = key(
        "OVER: {name} [{code}]: {fact} at {time}. It lasted {span}. {answer}", "An alarm is over."
    )
    over_subject: str = key("OVER: {name} [{code}]", "Subject of that mail.")
    answered_by: str = key("Answered by {person}.", "Who had it.")
    not_answered: str = key("Nobody has answered yet: code {code}.", "Over, and still unanswered.")
    shelved: str = key(
        "SHELVED: {name}, by {person} for {span}: {reason}. It ends by itself.",
        "To a second person: an alarm is silenced.",
    )
    out: str = key(
        "OUT OF SERVICE: {name}, by {person} and {second}. Instead: {replacement}. It stays so until put back.",
        "To others: an alarm is out of service.",
    )
    short_answered: str = key(
        "ANSWERED: {name} {code}: {person} has it since {since}. Now: {free}",
        "To the others as a text message: who has it, and what is the matter now.",
    )
    short_over: str = key(
        "OVER: {name} {code} at {time} after {span}. {answer} Now: {free}",
        "An alarm is over, as a text message, and what is the matter now.",
    )
    short_shelved: str = key(
        "SHELVED for {span}: {name}, by {person}: {free}", "An alarm is silenced, as a text message, and why."
    )
    short_out: str = key(
        "OUT OF SERVICE: {name}, by {person} and {second}. Instead: {free}",
        "An alarm is out of service, as a text message, and what stands in its place.",
    )
    short_restarted: str = key(
        "SYSTEM: restarted {time} after {span} away. Open: {free}",
        "After a start, as a text message, with the open alarms.",
    )
    back: str = key("BACK IN SERVICE: {name}, by {person}.", "An alarm is in service again.")
    restarted: str = key(
        "SYSTEM: restarted {time} after {span} away. Open alarms: {count}: {names}. Readings are unknown "
        "until the sensors have spoken.",
        "After a start with open alarms, or after a long absence.",
    )
    away_unknown: str = key("an unknown time", "How long it was away, if nobody knows.")
    none_open: str = key("none", "No alarm.")
    test: str = key(
        "TEST (no danger): call test {time}. Reply {code} within {minutes} min, so that we know this reaches "
        "you.",
        "The weekly test call.",
    )
    test_subject: str = key("TEST (no danger): please answer {code}", "Subject of that mail.")


ENGLISH = Phrases()
"""The phrases as they stand here."""
