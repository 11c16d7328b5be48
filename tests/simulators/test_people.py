"""People and paths fail in the ways they do, repeatably."""

import re
from statistics import median

import pytest
from hash_seeds import print_under_hash_seeds
from hypothesis import given
from hypothesis import strategies as st

from simulators.paths import Path, Rejection
from simulators.people import CODE, HOUR_MS, Happening, Person

MIDNIGHT_MS = 1_750_464_000_000  # 2025-06-21 00:00 UTC
NOON_MS = MIDNIGHT_MS + 12 * HOUR_MS
TEXT = "OXYGEN LOW tank 1: 3.8 mg/L, limit 4. Since 03:12. Turn on the spare blower. Answer K7M2"


def ready(**changes: object) -> Person:
    """Make a person who always answers rightly, but for the changes."""
    figures: dict[str, object] = {
        "answers": 1.0,
        "mistypes": 0.0,
        "forgets_code": 0.0,
        "wakes": 1.0,
        **changes,
    }
    return Person(seed=1, name="keeper", **figures)  # type: ignore[arg-type]


def test_a_message_is_shown_then_answered_with_its_code() -> None:
    """The phone shows the message at once; the answer follows, with the code from the end of the message."""
    shown, answered = ready().receive(now_ms=NOON_MS, text=TEXT)

    assert (shown.at_ms, shown.happening) == (NOON_MS, Happening.SHOWN)
    assert answered.happening is Happening.ANSWERED
    assert answered.at_ms > NOON_MS
    assert "K7M2" in answered.text


def test_half_answer_within_the_median() -> None:
    """Awake, the median over many messages is the one asked for."""
    person = ready(median_awake_min=4.0)

    delays = [person.receive(now_ms=NOON_MS, text=TEXT)[1].at_ms - NOON_MS for _ in range(4000)]

    assert median(delays) / 60_000 == pytest.approx(4.0, rel=0.06)


def test_a_sleeper_answers_in_the_morning() -> None:
    """A message that does not wake waits for the hour of waking, by the person's own clock."""
    person = ready(wakes=0.0, awake_h=6.5, asleep_h=23.0, utc_offset_min=60)

    for hour in (22.0, 22.5, 0.0, 3.0, 5.4):
        answer = person.receive(now_ms=round(MIDNIGHT_MS + hour * HOUR_MS), text=TEXT)[1]
        morning_ms = MIDNIGHT_MS + round(5.5 * HOUR_MS) + (24 * HOUR_MS if hour > 12 else 0)
        assert answer.at_ms >= morning_ms
    assert not person.asleep(MIDNIGHT_MS + round(5.51 * HOUR_MS))
    assert person.asleep(MIDNIGHT_MS + round(5.49 * HOUR_MS))


def test_a_wakened_sleeper_answers_in_minutes() -> None:
    """With every message waking, night answers have their own median."""
    person = ready(median_woken_min=7.0)

    delays = [person.receive(now_ms=MIDNIGHT_MS, text=TEXT)[1].at_ms - MIDNIGHT_MS for _ in range(4000)]

    assert median(delays) / 60_000 == pytest.approx(7.0, rel=0.06)


def test_a_lesson_delays_two_messages_but_not_the_third() -> None:
    """In a lesson the first two wait for its end; the third within the hour gets through."""
    person = ready(busy_h=((12.0, 13.0),))

    answers = [person.receive(now_ms=NOON_MS + i * 60_000, text=TEXT)[1].at_ms for i in range(3)]

    assert min(answers[:2]) >= NOON_MS + HOUR_MS
    assert answers[2] < NOON_MS + HOUR_MS


def test_a_flat_battery_shows_the_message_when_charged() -> None:
    """Nothing is shown while the battery is flat."""
    person = ready(flat_ms=((NOON_MS - 1, NOON_MS + 5 * HOUR_MS),))

    shown, answered = person.receive(now_ms=NOON_MS, text=TEXT)

    assert shown.at_ms == NOON_MS + 5 * HOUR_MS
    assert answered.at_ms > shown.at_ms


def test_an_automatic_reply_is_no_answer() -> None:
    """While away the phone replies by itself, within seconds and without the code, and the person does not."""
    person = ready(away_ms=((MIDNIGHT_MS, NOON_MS + HOUR_MS),))

    shown, reply = person.receive(now_ms=NOON_MS, text=TEXT)

    assert (shown.happening, reply.happening) == (Happening.SHOWN, Happening.AUTOMATIC)
    assert reply.at_ms - NOON_MS < 10_000
    assert "K7M2" not in reply.text


def test_mistypes_and_lapses_are_as_frequent_as_asked_and_often_mended() -> None:
    """Wrong digits, missing codes and silence come in their shares; half the spoilt are sent again."""
    person = Person(
        seed=2, name="deputy", answers=0.8, mistypes=0.1, forgets_code=0.1, corrects=0.5, wakes=1.0
    )
    courses = [person.receive(now_ms=NOON_MS, text=TEXT)[1:] for _ in range(4000)]
    silent = sum(not course for course in courses)
    spoilt = [course for course in courses if course and "K7M2" not in course[0].text]

    assert silent == pytest.approx(800, abs=80)
    assert len(spoilt) == pytest.approx(0.19 * 3200, abs=80)
    assert sum(len(course) == 2 for course in spoilt) == pytest.approx(len(spoilt) / 2, abs=60)
    assert all(course[-1].text == "K7M2" for course in spoilt if len(course) == 2)
    assert any(re.search(r"K7M[0-9]", course[0].text) for course in spoilt)


@given(st.text(max_size=200), st.integers(0, 2**41))
def test_any_message_at_any_time_has_a_course(text: str, now_ms: int) -> None:
    """Events come in order and never before the message."""
    events = Person(seed=1, name="porter").receive(now_ms=now_ms, text=text)

    times = [event.at_ms for event in events]
    assert times == sorted(times)
    assert times[0] >= now_ms


def test_the_code_is_the_last_word_with_a_digit_in_capitals() -> None:
    """Plain words, small numbers and times are no codes."""
    assert re.findall(CODE, TEXT) == ["K7M2"]
    assert re.findall(CODE, "Answer 4821") == ["4821"]
    assert re.findall(CODE, "OXYGEN LOW at 03:12, 3.8 mg/L") == []


def test_a_path_delays_loses_doubles_and_refuses_as_often_as_asked() -> None:
    """Shares of each fate and the median delay are those asked for."""
    path = Path(seed=1, name="text", median_s=6.0, lost=0.1, doubled=0.05, busy=0.02)
    fates = [path.carry(now_ms=0, address="a") for _ in range(5000)]

    assert sum(fate.rejection is Rejection.BUSY for fate in fates) == pytest.approx(100, abs=35)
    accepted = [fate for fate in fates if fate.rejection is None]
    assert sum(not fate.arrivals_ms for fate in accepted) == pytest.approx(0.1 * len(accepted), abs=80)
    assert sum(len(fate.arrivals_ms) == 2 for fate in accepted) == pytest.approx(
        0.045 * len(accepted), abs=60
    )
    single = [fate.arrivals_ms[0] for fate in accepted if len(fate.arrivals_ms) == 1]
    assert median(single) / 1000 == pytest.approx(6.0, rel=0.06)


def test_an_outage_refuses_or_holds() -> None:
    """A modem refuses while it is down; a mail queue delivers when it is up again."""
    down = ((1000, 60_000),)
    modem = Path(seed=1, name="text", down_ms=down, lost=0.0, busy=0.0)
    mail = Path(seed=1, name="mail", down_ms=down, lost=0.0, busy=0.0, holds_when_down=True)

    assert modem.carry(now_ms=1000, address="a").rejection is Rejection.DOWN
    assert modem.carry(now_ms=60_000, address="a").rejection is None
    held = mail.carry(now_ms=1000, address="a")
    assert held.rejection is None
    assert min(held.arrivals_ms) > 60_000


def test_a_dead_address_is_refused() -> None:
    """A wrong number is refused each time."""
    path = Path(seed=1, name="text", dead_addresses=frozenset({"+000"}), busy=0.0)

    assert path.carry(now_ms=0, address="+000").rejection is Rejection.BAD_ADDRESS
    assert path.carry(now_ms=0, address="+001").rejection is None


PROGRAM = """
from simulators.paths import Path
from simulators.people import Person
from simulators.sensors import mild_ph
person, path, probe = Person(seed=9, name="keeper"), Path(seed=9, name="text"), mild_ph(9, "ph")
for hour in range(300):
    print(person.receive(now_ms=hour * 3600000, text="Answer K7M2"))
    print(path.carry(now_ms=hour * 3600000, address="a"), probe.advance(60.0, 7.0))
"""


def test_people_do_not_depend_on_the_hash_seed() -> None:
    """Two interpreters with different hash seeds tell the same story of people, paths and sensors."""
    assert len(print_under_hash_seeds(PROGRAM)) == 1
