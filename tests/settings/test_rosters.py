"""Roster, holidays, absence, causes, languages and the length of messages: refused with the hour or the name."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from controller.core.plan.phrases import ENGLISH, Phrases
from controller.core.plan.plan import Plan
from controller.settings.cautions import find_cautions
from controller.settings.files import MOST_BYTES, read_catalogue, read_holidays
from controller.settings.load import load_settings

GOOD = (Path(__file__).parent / "good.toml").read_text(encoding="utf-8")
PHONES = GOOD.replace('email = "keeper@example.org"', 'email = "keeper@example.org"\nphone = "+447700900123"')
RULES = "[call_rules]\ncall_out_and_travel_min = 40"
assert GOOD.count(RULES) == 1


def load(text: str, folder: Path = Path(), today: date | None = None) -> Plan | list[str]:
    """Load a text: the plan, or its problems as they are printed."""
    loaded = load_settings(text, file_name=str(folder / "house.toml"), today=today)
    return loaded if isinstance(loaded, Plan) else [str(problem) for problem in loaded]


def tell(text: str, folder: Path = Path()) -> list[str]:
    """Return the problems of a text that must not load."""
    loaded = load(text, folder)
    assert not isinstance(loaded, Plan), "the text is damaged and must not load"
    return loaded


def duty(days: str, begin: str, end: str, person: str = "keeper", more: str = "") -> str:
    """Write one row of the roster."""
    return f'\n[[duty]]\ndays = [{days}]\nfrom_time = "{begin}"\nuntil_time = "{end}"\nperson = "{person}"\n{more}\n'


ALL = '"mon", "tue", "wed", "thu", "fri", "sat", "sun", "holiday"'
WORK, REST = '"mon", "tue", "wed", "thu", "fri"', '"sat", "sun", "holiday"'


@pytest.mark.parametrize(
    ("rows", "hour"),
    [
        (duty(ALL, "00:00", "23:00"), "on Mondays at 23:00 nobody is on duty"),
        (duty(WORK, "00:00", "24:00"), "on Saturdays at 00:00 nobody is on duty"),
        (duty(WORK, "08:00", "17:00") + duty(ALL, "17:00", "08:00"), "on Saturdays at 08:00 nobody is on duty"),
        (duty('"mon"', "00:00", "24:00") + duty(ALL.replace('"mon", ', ""), "00:30", "24:00"),
         "on Tuesdays at 00:00 nobody is on duty"),
    ],
)  # fmt: skip
def test_an_hour_without_anybody_is_refused_with_its_name(rows: str, hour: str) -> None:
    """The check says which day and from when."""
    assert any(hour in each for each in tell(GOOD + rows))


@pytest.mark.parametrize(
    "rows",
    [
        duty(ALL, "00:00", "24:00"),
        duty(ALL, "17:00", "08:00") + duty(ALL, "08:00", "17:00", "deputy"),
        duty(ALL, "06:00", "06:00"),
        duty(WORK, "00:00", "24:00") + duty(REST, "00:00", "24:00", "deputy"),
    ],
)
def test_a_roster_without_a_gap_is_good(rows: str) -> None:
    """Days, nights past midnight, a row that goes all round the clock."""
    assert isinstance(load(GOOD + rows), Plan)


def test_a_holiday_that_nobody_has_is_a_gap() -> None:
    """A roster of the days of the week leaves Christmas to nobody."""
    rows = duty('"mon", "tue", "wed", "thu", "fri", "sat", "sun"', "00:00", "24:00")
    assert isinstance(load(GOOD + rows), Plan)
    told = tell(GOOD.replace(RULES, f'{RULES}\nholidays = ["2026-12-25"]') + rows)
    assert any("on 2026-12-25 (a holiday) at 00:00 nobody is on duty" in each for each in told)


def test_an_absence_without_a_stand_in_is_a_gap() -> None:
    """The day on which the one person is away, by its date; with somebody to stand in it is none."""
    away = GOOD.replace('name = "keeper"\n', 'name = "keeper"\naway = ["2026-08-03/2026-08-04"]\n')
    assert any("on 2026-08-03 at 00:00 nobody" in each for each in tell(away + duty(ALL, "00:00", "24:00")))
    assert isinstance(load(away + duty(ALL, "00:00", "24:00", more='stand_in = "deputy"')), Plan)


def test_a_day_on_which_everybody_is_away_is_refused() -> None:
    """An emergency would reach nobody."""
    text = GOOD.replace('name = "keeper"\n', 'name = "keeper"\naway = ["2026-08-01/2026-08-14"]\n')
    text = text.replace('name = "deputy"\n', 'name = "deputy"\naway = ["2026-08-14"]\n')

    assert any(
        "on 2026-08-14 from 00:00 everybody who is called in an emergency is away" in each
        for each in tell(text)
    )


def away(person: str, span: str) -> str:
    """Let a person of the good house be away."""
    return GOOD.replace(f'name = "{person}"\n', f'name = "{person}"\naway = ["{span}"]\n')


WEEK_ROW = duty('"mon", "tue", "wed", "thu", "fri", "sat", "sun"', "00:00", "24:00")
HOLIDAY = GOOD.replace(RULES, f'{RULES}\nholidays = ["2026-08-31"]')
ALL_AWAY = away("keeper", "2026-08-01/2026-08-14").replace(
    'name = "deputy"\n', 'name = "deputy"\naway = ["2026-08-14"]\n'
)


@pytest.mark.parametrize(
    ("text", "last"),
    [
        (ALL_AWAY, date(2026, 8, 14)),
        (away("keeper", "2026-08-03/2026-08-04") + duty(ALL, "00:00", "24:00"), date(2026, 8, 5)),
        (HOLIDAY + WEEK_ROW, date(2026, 8, 31)),
    ],
)
def test_what_is_past_refuses_nothing(text: str, last: date) -> None:
    """A span or a holiday counts until its last day, by the date that is handed in; without a date always."""
    assert isinstance(load(text), list)
    assert isinstance(load(text, today=date(2026, 7, 1)), list)
    assert isinstance(load(text, today=last), list) or last == date(2026, 8, 5)
    assert isinstance(load(text, today=date(2026, 9, 2)), Plan)


def test_a_yearly_holiday_long_past_hides_none_that_comes(tmp_path: Path) -> None:
    """However many years of the file are past, the next one is looked at, and named."""
    (tmp_path / "holidays.ics").write_text(
        CALENDAR.replace("DTSTART;VALUE=DATE:20260101", "DTSTART;VALUE=DATE:19000101").replace(
            ";UNTIL=20290101", ""
        ),
        encoding="utf-8",
    )
    text = GOOD.replace(RULES, f'{RULES}\nholidays_file = "holidays.ics"') + WEEK_ROW
    told = load(text, tmp_path, date(2030, 1, 2))

    assert isinstance(told, list)
    assert any("on 2031-01-01 (a holiday) at 00:00 nobody is on duty" in each for each in told), told


@pytest.mark.parametrize(
    ("today", "told"),
    [(None, ["2026-12-01"]), (date(2026, 11, 25), ["2026-12-01"]), (date(2026, 12, 7), ["2026-12-07"]),
     (date(2026, 12, 21), [])],
)  # fmt: skip
def test_nobody_for_today_calls_for_caution_where_there_is_no_roster(
    today: date | None, told: list[str]
) -> None:
    """The only person of today away from the 1st to the 20th: said with day and hour until it is over."""
    plan = load(away("keeper", "2026-12-01/2026-12-20"), today=today)
    assert isinstance(plan, Plan)
    texts = [fault.text for fault in find_cautions(plan, today=today) if "is for today is away" in fault.text]

    assert [text.split()[2] for text in texts] == told
    assert all(" from 00:00 everybody" in text for text in texts)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (duty(ALL, "24:00", "08:00"), '`from_time` is "24:00", allowed is a local time'),
        (duty(ALL, "8:00", "17:00"), '`from_time` is "8:00", allowed is a local time'),
        (duty(ALL, "00:00", "24:00", "keper"), 'there is no person "keper"'),
        (duty(ALL, "00:00", "24:00", more='stand_in = "keeper"'), "`stand_in` is the person themselves"),
        (duty("", "00:00", "24:00"), "`days` is empty"),
        (duty('"monday"', "00:00", "24:00"), "allowed is a list, each one of"),
    ],
)
def test_rows_are_read_strictly(rows: str, words: str) -> None:
    """Times, names and days that are none are told."""
    assert any(words in each for each in tell(GOOD + rows)), tell(GOOD + rows)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ('quiet_from = "22:00"', "`quiet_from` is set, so `quiet_to` is needed too"),
        ('quiet_from = "22"\nquiet_to = "06:00"', '`quiet_from` is "22"'),
        ('holidays = ["25.12.2026"]', '`holidays` has "25.12.2026"'),
        ('holidays_file = "none.ics"', "cannot be read"),
    ],
)
def test_rules_are_read_strictly(line: str, words: str) -> None:
    """Half of a pair, what is no time, what is no day, a file that is not there."""
    assert any(words in each for each in tell(GOOD.replace(RULES, f"{RULES}\n{line}")))


def test_an_absence_that_is_no_day_is_told() -> None:
    """With what is allowed."""
    text = GOOD.replace('name = "keeper"\n', 'name = "keeper"\naway = ["next week"]\n')

    assert any('`away` has "next week", allowed is a day' in each for each in tell(text))


# --- causes ---------------------------------------------------------------------------------------------


def cause(name: str, by: str) -> str:
    """Let an alarm of the good house be suppressed by others."""
    place = GOOD.index(f'name = "{name}"')
    assert GOOD[:place].endswith("[[alarm]]\n")
    return f"{GOOD[:place]}suppressed_by = [{by}]\n{GOOD[place:]}"


def test_a_cause_that_is_there_and_urgent_enough_is_good() -> None:
    """What is for today may hide what is for today; a fault of Duskbell's own may be a cause too."""
    assert isinstance(load(cause("Oxygen doubtful", '"Air pump off"')), Plan)
    assert isinstance(load(cause("Air pump off", '"alarm record cannot be written"')), Plan)


@pytest.mark.parametrize(
    ("name", "by", "words"),
    [
        ("Oxygen doubtful", '"Oxygen doubtful"', "an alarm never hides itself"),
        ("Oxygen doubtful", '"Mains lots"', 'there is no alarm "Mains lots"'),
        ("Oxygen missing", '"Air pump off"', "less urgent (today) than this (emergency)"),
        ("Air pump off", '"Broker lost"', "less urgent (note) than this (today)"),
    ],
)  # fmt: skip
def test_causes_that_would_hide_too_much_are_refused(name: str, by: str, words: str) -> None:
    """Itself, nobody, and what nobody would be called for."""
    assert any(words in each for each in tell(cause(name, by))), tell(cause(name, by))


def test_a_ring_of_causes_is_refused() -> None:
    """Each would hide the other, and nobody would be called."""
    text = cause("Oxygen doubtful", '"Air pump off"')
    place = text.index('name = "Air pump off"')
    told = tell(f'{text[:place]}suppressed_by = ["Oxygen doubtful"]\n{text[place:]}')

    assert any("goes in a ring (" in each for each in told)


# --- files ----------------------------------------------------------------------------------------------

# RFC 5545: an all-day event ends before its DTEND; RRULE and EXDATE as in its sections 3.8.5.3 and 3.8.5.1.
CALENDAR = """BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//test//EN
BEGIN:VEVENT
UID:1
DTSTAMP:20260101T000000Z
DTSTART;VALUE=DATE:20261225
DTEND;VALUE=DATE:20261227
SUMMARY:Christmas and Boxing Day
END:VEVENT
BEGIN:VEVENT
UID:2
DTSTAMP:20260101T000000Z
DTSTART;VALUE=DATE:20260101
RRULE:FREQ=YEARLY;UNTIL=20290101
EXDATE;VALUE=DATE:20280101
SUMMARY:New Year
END:VEVENT
BEGIN:VEVENT
UID:3
DTSTAMP:20260101T000000Z
DTSTART;VALUE=DATE:20260501
STATUS:CANCELLED
END:VEVENT
BEGIN:VEVENT
UID:4
DTSTAMP:20260101T000000Z
DTSTART;TZID=Europe/London:20260831T000000
DURATION:P1D
SUMMARY:Summer bank
  holiday
END:VEVENT
END:VCALENDAR
"""


def test_holidays_come_from_a_calendar(tmp_path: Path) -> None:
    """Spans, yearly ones with their exceptions, cancelled ones left out, folded lines."""
    path = tmp_path / "holidays.ics"
    path.write_text(CALENDAR.replace("\n", "\r\n"), encoding="utf-8")

    assert read_holidays(path) == (
        "2026-01-01", "2026-08-31", "2026-12-25", "2026-12-26", "2027-01-01", "2029-01-01",
    )  # fmt: skip


def test_a_yearly_holiday_without_an_end_ends_in_2100(tmp_path: Path) -> None:
    """For ever is too long to write out."""
    path = tmp_path / "holidays.ics"
    path.write_text(CALENDAR.replace(";UNTIL=20290101", ""), encoding="utf-8")
    days = read_holidays(path)

    assert isinstance(days, tuple)
    assert max(days) == "2100-01-01"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "no iCalendar file"), (b"\xff\x00", "no iCalendar file"), (b"hello", "no iCalendar file"),
        (CALENDAR[: CALENDAR.index("BEGIN:VEVENT")].encode() + b"END:VCALENDAR\n", "holds no day"),
        (CALENDAR.replace("20261225", "christmas").encode(), "no iCalendar file"),
        (b"x" * (MOST_BYTES + 1), "larger than"),
    ],
)  # fmt: skip
def test_what_is_no_calendar_is_told(tmp_path: Path, content: bytes, words: str) -> None:
    """Nothing of it raises."""
    path = tmp_path / "holidays.ics"
    path.write_bytes(content)
    told = read_holidays(path)

    assert isinstance(told, str)
    assert words in told or "holds no day" in told


def test_the_plan_knows_the_days_of_the_file_and_their_gaps(tmp_path: Path) -> None:
    """Days written in the settings and days of the file are one list, and a gap on one of them is refused."""
    (tmp_path / "holidays.ics").write_text(CALENDAR, encoding="utf-8")
    text = GOOD.replace(RULES, f'{RULES}\nholidays = ["2026-05-04"]\nholidays_file = "holidays.ics"')
    plan = load(text, tmp_path)
    assert isinstance(plan, Plan)
    assert plan.call_rules.holidays[:3] == ("2026-05-04", "2026-01-01", "2026-08-31")
    rows = duty('"mon", "tue", "wed", "thu", "fri", "sat", "sun"', "00:00", "24:00")
    assert any("(a holiday) at 00:00 nobody is on duty" in each for each in tell(text + rows, tmp_path))


def test_messages_speak_another_language(tmp_path: Path) -> None:
    """A catalogue replaces the phrases it has; the others stay English."""
    path = tmp_path / "phrases.toml"
    path.write_text('emergency = "NOTFALL"\nshort = "{head}: {name} {fact}{place}, seit {since}. {left}. {action}. '
                    'Antwort {code}"\n', encoding="utf-8")  # fmt: skip
    plan = load(
        GOOD.replace('id = "small-house"', 'id = "small-house"\nlanguage_file = "phrases.toml"'), tmp_path
    )
    assert isinstance(plan, Plan)
    assert (plan.phrases.emergency, plan.phrases.today) == ("NOTFALL", "TODAY")
    assert plan != plan.with_phrases(ENGLISH), "a changed catalogue is a change of settings"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('emergancy = "X"', 'unknown phrase `emergancy`; did you mean "emergency"?'),
        ('over_subject = "VORBEI: {name}"', "`over_subject` must hold {code}, {name}"),
        ('harm = "{minutes.__class__}"', "each plain"),
        ('harm = "{minutes!r}"', "each plain"),
        ('harm = "{minutes:>9999}"', "each plain"),
        ('harm = "{minutes"', "each plain"),
        ('harm = "{} {minutes}"', "each plain"),
        ('weekdays = "Mo Di Mi Do Fr Sa"', "seven words"),
        ("today = 5", "a text in quotes is needed"),
        ("today = ", "cannot be read"),
    ],
)
def test_a_catalogue_may_not_lose_a_code(tmp_path: Path, text: str, words: str) -> None:
    """The same words in braces as in English, plain ones, and no phrase that nobody says."""
    path = tmp_path / "phrases.toml"
    path.write_text(text, encoding="utf-8")
    told = read_catalogue(path)

    assert isinstance(told, list)
    assert any(words in each for each in told), told


def test_every_phrase_can_be_translated_as_it_is(tmp_path: Path) -> None:
    """The English catalogue, written out, is itself a good one."""
    path = tmp_path / "phrases.toml"
    lines = [f"{name} = {_quote(getattr(ENGLISH, name))}" for name in Phrases.model_fields]
    path.write_text("\n".join(lines), encoding="utf-8")

    assert read_catalogue(path) == ENGLISH


def _quote(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") + '"'


def test_a_text_too_long_for_one_message_is_refused(tmp_path: Path) -> None:
    """Counted with every part at its longest, in the language it is sent in; only where texts are sent."""
    name = "Oxygen in the water of the big round tank"[:40]
    action = "Open the oxygen bottle and then start the spare pump"
    long = PHONES.replace('name = "Oxygen low"', f'name = "{name}"')
    long = long.replace('action = "Start the spare air pump."', f'action = "{action}"')
    assert long != PHONES
    texted = long.replace('people = ["keeper", "deputy"]', 'people = ["keeper"]\nways = ["text"]')
    texted += '\n[modem]\ndevice = "/dev/ttyUSB0"\n'
    by_mail = load(long)
    told = tell(texted)

    assert isinstance(by_mail, Plan), by_mail
    assert any("its text message can take" in each and "of 160 characters" in each for each in told), told
    assert tmp_path.exists()
