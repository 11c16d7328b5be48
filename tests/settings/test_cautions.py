"""What is allowed and still said: cautions of the check."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.core.plan.alarm import Watched
from controller.core.plan.plan import Plan
from controller.settings.cautions import find_cautions
from controller.settings.load import load_settings, place_faults

GOOD = (Path(__file__).parent / "good.toml").read_text(encoding="utf-8")
ABSENT = {Watched.MODEM, Watched.SIREN, Watched.REPLIES, Watched.PEOPLE, Watched.PATHS}
"""What the good house does not have, and what only a house with a modem can have trouble with."""

UNWATCHED = tuple(part for part in Watched if part is not Watched.BROKER and part not in ABSENT)

CASES = {
    "no time to get there": (
        "time_to_respond_min = 60",
        "time_to_respond_min = 30",
        "30 min until harm, 40 min to get there: an alarm cannot be the protection here; an automatic backup must be",
    ),
    "sounds late": (
        "deadband = 0.5",
        "on_delay_s = 2400",
        "sounds only after 40 min, which is more than half",
    ),
    "silence noticed late": ("interval_s = 30", "stale_after_s = 2000", "noticed only after 33.3"),
    "sign of the longitude": ("longitude_deg = -1.0", "longitude_deg = 101.0", "7 h away from the clocks"),
    "open broker": ('host = "127.0.0.1"', 'host = "broker.example.org"', "the connection is not encrypted"),
    "open mail": ('host = "mail.example.org"', 'host = "10.0.0.1"\nsecurity = "none"', "not encrypted"),
    "dry run": ("duty_s_per_hour = 900", "dry_run = true", "nothing moves until `dry_run = false`"),
    "blind relays": (
        "duty_s_per_hour = 900",
        'has_limit_report = false\nactuator = "relays"',
        "known by running time alone",
    ),
    "person left out": (
        'people = ["keeper", "deputy"]',
        'people = ["keeper"] # only',
        "no step of the call list",
    ),
    "one person only": (
        'people = ["keeper", "deputy"]',
        'people = ["keeper"] # only',
        'only "keeper" is ever called',
    ),
}


def tell(text: str) -> dict[str, int]:
    """Load a good text and return its cautions with their lines, without those on what the small house lacks."""
    plan = load_settings(text, file_name="house.toml")
    assert isinstance(plan, Plan), "\n".join(map(str, plan))
    found = place_faults(text, find_cautions(plan), file_name="house.toml")
    lacks = ('no entry of kind "fault"', "supervision: there is none", "alone: when that one way is down")
    return {each.text: each.line for each in found if not any(words in each.text for words in lacks)}


def test_the_good_file_gives_no_other_caution() -> None:
    """The cautions below come from the change made to the file."""
    assert tell(GOOD) == {}


@pytest.mark.parametrize(("old", "new", "words"), CASES.values(), ids=CASES.keys())
def test_what_is_doubtful_is_said_at_its_line(old: str, new: str, words: str) -> None:
    """A caution stands near the line that was changed and says why."""
    assert GOOD.count(old) == 1
    text = GOOD.replace(old, new)
    told = tell(text)
    assert any(words in each for each in told), told
    assert all(1 <= line <= text.count("\n") for line in told.values())


BELOW = GOOD.replace('mounted = "outside"', 'mounted = "below curtain"').replace(
    'light_sensor = "roof light"', 'light_sensor = "roof light"\ntransmission = 0.5'
)


def test_a_curtain_that_steers_by_its_own_shadow_is_pointed_out() -> None:
    """A light sensor below the curtain is allowed with its transmission, and one outside is said to be better."""
    [(text, line)] = tell(BELOW).items()
    assert "is below it" in text
    assert "one outside is better" in text
    assert BELOW[: BELOW.index('light_sensor = "roof light"')].count("\n") + 1 == line


def test_the_light_sensor_outside_that_stands_unused_is_named() -> None:
    """Where the house has a light sensor outside already, the caution names it."""
    sky = '[[sensor]]\nname = "sky"\nquantity = "light"\nunit = "W/m2"\ntopic = "small/sky"\nmounted = "outside"\n\n'
    text = BELOW.replace("[[sensor]]", sky + "[[sensor]]", 1)
    assert any('"sky" is outside; name that one' in each for each in tell(text))


@pytest.mark.parametrize("kind", ["missing", "doubtful"])
def test_an_entry_that_is_built_in_for_an_emergency_sensor_is_told(kind: str) -> None:
    """Without an entry for the unknown the file is good, and the check says at the emergency what is added."""
    start = GOOD.index(f'[[alarm]]\nname = "Oxygen {kind}"')
    text = GOOD[:start] + GOOD[GOOD.index("[[alarm]]", start + 1) :]
    ((words, line),) = tell(text).items()

    assert text.split("\n")[line - 1] == 'sensor = "oxygen"'
    assert words.startswith('alarm "Oxygen low": an emergency hangs on the sensor "oxygen"')
    assert f'one is built in: "oxygen {kind}", an emergency' in words


def test_tables_that_the_economics_put_aside_are_named() -> None:
    """A band for the day's light beside the economics is not used, and the check says which keys are."""
    old = "duty_s_per_hour = 900"
    assert GOOD.count(old) == 1
    head, tail = GOOD.split(old)
    words = tell(f"{head}{old}\n[curtain.economics]\n[curtain.light_sum]\n{tail}")
    assert any("light_sum" in word and "`beyond_band_worth`" in word for word in words)


def test_the_backup_is_asked_for_at_the_line_of_the_time() -> None:
    """The caution that an alarm cannot protect stands at the time to respond itself."""
    text = GOOD.replace("time_to_respond_min = 60", "time_to_respond_min = 30")
    assert [text[: text.index("time_to_respond_min = 30")].count("\n") + 1] == list(tell(text).values())


def test_a_quicker_note_needs_no_backup() -> None:
    """Only emergencies are held against the time people need to get there."""
    assert tell(GOOD.replace("time_to_respond_min = 120", "time_to_respond_min = 35")) == {}


def test_each_unwatched_part_is_named() -> None:
    """Trouble with a part of Duskbell that no entry watches is pointed out, part by part."""
    plan = load_settings(GOOD, file_name="house.toml")
    assert isinstance(plan, Plan)
    told = [each.text for each in find_cautions(plan) if 'no entry of kind "fault"' in each.text]
    assert [part.value for part in UNWATCHED] == [each.split('watches "')[1].split('"')[0] for each in told]


def test_a_house_without_rules_or_emergencies_is_pointed_out() -> None:
    """A curtain that nothing moves and a list that never calls anybody are worth a word."""
    start, end = GOOD.index("[curtain.light_ceiling]"), GOOD.index('[[alarm]]\nname = "Oxygen low"')
    told = tell(
        (GOOD[:start] + GOOD[end:]).replace('response = "emergency"\ncause', 'response = "today"\ncause')
    )
    assert any("it has no rule" in each for each in told)
    assert any("none is an emergency" in each for each in told)


def test_a_house_that_one_broken_thing_cuts_off_is_pointed_out() -> None:
    """One way to people, and nothing that would find out that it is down: each is a caution of its own."""
    plan = load_settings(GOOD, file_name="house.toml")
    assert isinstance(plan, Plan)
    told = " ".join(each.text for each in find_cautions(plan))
    assert 'an emergency goes by "email" alone' in told
    assert "supervision: there is none" in told

    safer = GOOD.replace(
        'email = "deputy@example.org"', 'email = "deputy@example.org"\nphone = "+447700900123"'
    )
    safer = safer.replace('people = ["keeper", "deputy"]', 'people = ["deputy"]\nways = ["email", "text"]')
    safer += '\n[modem]\ndevice = "/dev/ttyUSB0"\n[supervision]\n'
    plan = load_settings(safer, file_name="house.toml")
    assert isinstance(plan, Plan), "\n".join(map(str, plan))
    told = " ".join(each.text for each in find_cautions(plan))
    assert "alone: when that one way" not in told
    assert "supervision" not in told
