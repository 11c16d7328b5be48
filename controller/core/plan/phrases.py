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
    over_unanswered: str = key(
        "It is over, and nobody has answered: have a look, and answer.",
        "A call for what is over, unanswered.",
    )
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
    short_returned: str = key(
        "{head}: {name} OVER, now {fact}{place}, began {since}. {action}. Reply {code}",
        "A call for what is over and was never answered, as a text message.",
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

    short_barred: str = key(
        "Code {code}",
        "In place of the words that ask for a reply, in a text to a number whose replies are refused.",
    )

    stranger: str = key(
        "STRANGER: {number}, which is nobody's here, sent {what}. It changed nothing.",
        "To who is on duty: an unknown number sends codes.",
    )
    stranger_right: str = key("the right code of {name}", "What a stranger sent.")
    stranger_wrong: str = key("a wrong code", "What a stranger sent.")
    yes_words: str = key(
        "ok, okay, ack, acknowledge, acknowledged, yes, yep, got it, i got it, i've got it, have it, i have it, on it, "
        "i'm on it, on my way, i'm on my way, i am on my way, coming, i'm coming, i am coming, thanks, thank you, "
        "thanks a lot, please, sure, roger, understood, no problem, no problems, not a problem, no worries, no need to "
        "worry, right away, straight away, min away, mins away, minutes away, minute away, km away, miles away",
        "Words of yes in an answer by text, besides the English ones; a word of refusal within one of these does "
        "not refuse. Commas part them.",
    )
    no_words: str = key(
        "no, nope, nah, not, never, nobody, cannot, cant, dont, wont, couldnt, isnt, unable, impossible, busy, away, "
        "abroad, overseas, ill, sick, unwell, fever, hospital, in bed, asleep, drunk, else, wrong, stop, cancel, "
        "ignore, refuse, decline, declined, unsubscribe, help, ask, sorry, afraid, too far, far, later, tomorrow, next "
        "week, in the morning, until, unless, on leave, holiday, holidays, off duty, day off, off today, will you, "
        "unavailable, out of town, meeting, instead, someone, somebody, anyone, anybody, quit, blocked, wedding, "
        "funeral, when i can, "
        "can you, could you, would you, are you, you go, you have, you do, you take, who, what, "
        "nein, nicht, kein, keine, krank, non, pas, malade, nee, niet, ziek, nej, inte, nie, enfermo, puedo",
        "Words in an answer by text that refuse or put off, besides the English ones: with one of them the right code "
        "does not answer. Commas part them.",
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

    months: str = key(
        "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec", "Twelve short words, with blanks between."
    )
    digest_well: str = key("all well", "Headline of the daily digest when nobody need act.")
    digest_not_well: str = key("NOT all well", "Headline of the daily digest when somebody must.")
    digest_head: str = key("{state} at {site}, {time}", "Headline of the daily digest.")
    digest_alarms: str = key(
        "Alarms since the last digest: {emergencies}, {today} for today, {notes}.", "What has sounded."
    )
    digest_open: str = key("Open: {names}. Silenced: {silenced}.", "What is open.")
    digest_people: str = key("People: {answers}; {messages} under way; {proof}.", "The people.")
    digest_no_path: str = key("no path to prove", "Nobody on the list can be reached.")
    digest_proof: str = key(
        "no path unproven for more than {days}", "How long the least proven path goes back."
    )
    digest_sensors: str = key("Sensors: {good} of {all} can be trusted. Not: {names}.", "The sensors.")
    digest_curtains: str = key("Curtains: {curtains}.", "The curtains.")
    digest_curtain: str = key("{name} {place}, {moves} today", "One curtain.")
    place_unknown: str = key("place unknown", "A curtain whose position nobody knows.")
    place_drawn: str = key("{percent} % drawn", "A curtain's position.")
    count_emergencies: str = key("{count} emergency|{count} emergencies", "One, a bar, and many.")
    count_notes: str = key("{count} note|{count} notes", "One, a bar, and many.")
    count_answers: str = key("{count} answer|{count} answers", "One, a bar, and many.")
    count_messages: str = key("{count} message|{count} messages", "One, a bar, and many.")
    count_days: str = key("{count} day|{count} days", "One, a bar, and many.")
    count_moves: str = key("{count} move|{count} moves", "One, a bar, and many.")
    and_others: str = key("{names} and {count} more", "A list of which not all is told.")

    reply_thanks: str = key(
        "{code} is yours, thank you {person}: {name}. It sounds again if it stays wrong.",
        "To who has answered by text.",
    )
    reply_not_open: str = key("{code} is no open alarm.", "To who has sent another code.")
    reply_no_code: str = key("no code found.", "To who has sent none.")
    reply_none_open: str = key("No alarm is open.", "To who has answered when none is.")
    reply_open: str = key("Open: {names}. Answer with the code alone.", "The open alarms with their codes.")
    reply_many_open: str = key("{count} alarms are open. Answer with the code alone.", "Too many to list.")
    has_it_already: str = key("{person} has it already", "To who has answered second.")
    reply_locked: str = key(
        "too many wrong codes: this number is refused for an hour. Answer another way.", "To who has guessed."
    )
    reply_refused: str = key(
        "too many wrong codes came from this number: it is refused until {time}. Answer another way.",
        "To who has sent the right code from a number that is refused.",
    )
    reply_declined: str = key(
        "{code} is not taken as answered: send the code alone if you have it. The calls go on.",
        "To who has sent what may be a refusal beside the code.",
    )
    reply_subject: str = key("your answer", "Subject of what is written back by mail.")

    language: str = key("en", "Language of the page, as browsers know it (BCP 47).")
    page_well: str = key("No alarm is open", "Page: nothing is wrong.")
    page_itself: str = key("Duskbell itself", "Page: what ails Duskbell.")
    page_first: str = key("First: {action}", "Page: the first action.")
    page_what: str = key("What", "Page: what is the matter.")
    page_where: str = key("Where", "Page: the place.")
    page_since: str = key("Since", "Page: since when.")
    page_harm: str = key("Harm", "Page: time until harm.")
    page_state: str = key("State", "Page: who has it.")
    page_has_it: str = key("{person} has it", "Page: who has it.")
    page_nobody: str = key("nobody has it yet", "Page: nobody has answered.")
    page_i_have_it: str = key("I have it", "Page: above the form.")
    page_test: str = key("Answer a test call", "Page: above the form when no alarm is open.")
    page_code: str = key("The four digits of your message", "Page: label of the code.")
    page_who: str = key("Who you are", "Page: label of the name.")
    page_choose: str = key("choose", "Page: no name is chosen yet.")
    page_word: str = key("or your own word", "Page: label of a person's own word.")
    page_word_hint: str = key("who has one needs it", "Page: beside that label.")
    page_act: str = key("I have it and I am acting", "Page: the button.")
    page_answer: str = key("Answer", "Page: the button when no alarm is open.")
    page_comes: str = key(
        "The calls stop for this alarm and the others are told your name. It sounds again if it stays wrong.",
        "Page: what the button does.",
    )
    page_again: str = key("Look again", "Page: the link to itself.")
    page_door: str = key("Your own word, to see what is wrong", "Page: label of the word at the door.")
    page_show: str = key("Show the alarms", "Page: the button at the door.")

    page_not_yours: str = key("this is nobody's word", "Page: a wrong word.")
    page_own_word: str = key("{person} answers with their own word", "Page: the name alone is not enough.")
    page_say_who: str = key("say who you are", "Page: no name was chosen.")
    page_not_open: str = key("no open alarm has this code", "Page: a wrong code.")
    page_locked: str = key(
        "too many wrong codes: refused for an hour. Answer by text message or on the board.",
        "Page: somebody has guessed.",
    )
    page_too_old: str = key(
        "this form is too old or not ours: look again and send it anew", "Page: a form that cannot be taken."
    )
    page_late: str = key("may have begun", "Page: harm.")
    page_left_minutes: str = key("in about {minutes} min", "Page: time until harm.")
    page_left_hours: str = key("in about {hours} h", "Page: time until harm, when it is long.")
    said_yours: str = key("{person} has it: {name}", "An answer that was taken.")
    said_theirs: str = key("{person} has it already: {name}", "An answer that came second.")
    said_again: str = key("{said}; it sounds again if it stays wrong", "After it, while it is still wrong.")
    said_test: str = key("thank you {person}: the test call has reached you", "An answer to a test call.")


ENGLISH = Phrases()
"""The phrases as they stand here."""
