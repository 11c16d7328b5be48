"""Every kind of mistake in a settings file is told with its file, its line and what is allowed."""

from __future__ import annotations

import os
from pathlib import Path
from typing import NamedTuple

import pytest

from controller.core.plan.plan import Plan
from controller.settings.load import load_settings, read_settings

GOOD = (Path(__file__).parent / "good.toml").read_text(encoding="utf-8")


class Damage(NamedTuple):
    """One mistake: a text of the good file, what replaces it, and words the problem must hold.

    `at` marks the line on which the problem must be told; it is searched in the damaged text, by the test
    itself, and is the replacement's first line where not given.
    """

    old: str
    new: str
    words: tuple[str, ...]
    at: str = ""


def damage(*damages: Damage) -> str:
    """Damage the good file; each text that is replaced stands in it exactly once."""
    text = GOOD
    for each in damages:
        assert text.count(each.old) == 1, f"{each.old!r} stands {text.count(each.old)} times"
        text = text.replace(each.old, each.new)
    return text


def line_of(text: str, mark: str) -> int:
    """Find the one line of `text` that begins a mark, counting as an editor does."""
    assert text.count(mark) == 1, f"{mark!r} stands {text.count(mark)} times"
    return text[: text.index(mark)].count("\n") + 1


def tell(text: str) -> list[str]:
    """Load a text and return its problems as they are printed."""
    loaded = load_settings(text, file_name="house.toml")
    assert not isinstance(loaded, Plan), "the text is damaged and must not load"
    return [str(problem) for problem in loaded]


SITE = 'id = "small-house"'
PUMP = 'topic = "small/tank/pump"'
ROOF_LIGHT = 'topic = "small/roof/light"\nmounted = "outside"'
OXYGEN = 'topic = "small/tank/oxygen"'
CURTAIN = "duty_s_per_hour = 900"
LOW = "limit = 4.0\ndeadband = 0.5"

ONE_KEY = {
    "number too large": Damage(
        "latitude_deg = 54.0", "latitude_deg = 94.0", ("`latitude_deg` is 94", "-90 to 90 [deg]")
    ),
    "not a number": Damage(
        "interval_s = 30", 'interval_s = "30"', ('`interval_s` is "30"', "a number from 0.1 to 86400 [s]")
    ),
    "true is no number": Damage("interval_s = 30", "interval_s = true", ("`interval_s` is true", "[s]")),
    "not finite": Damage("interval_s = 30", "interval_s = nan", ("`interval_s` is nan", "[s]")),
    "a date": Damage('name = "oxygen"', "name = 1979-05-27", ("`name` is 1979-05-27", "a text in quotes")),
    "no whole number": Damage(
        'host = "127.0.0.1"', "port = 1.5", ("`port` is 1.5", "a whole number from 1 to 65535")
    ),
    "one is not true": Damage('host = "127.0.0.1"', "tls = 1", ("`tls` is 1", "true or false")),
    "unknown word": Damage(
        'quantity = "oxygen"', 'quantity = "oxigen"', ('"oxigen"', "one of", '"oxygen"', '"ph"')
    ),
    "text too long": Damage(
        'name = "Small house"', f'name = "{"k" * 61}"', ("(61 characters)", "at most 60 characters")
    ),
    "unknown key": Damage(
        "interval_s = 30", "intervall_s = 30", ("unknown key `intervall_s`", '"interval_s"')
    ),
    "unknown key, nothing near": Damage(
        "interval_s = 30", "zzz = 30", ("unknown key `zzz`", "allowed are", "quantity")
    ),
    "misspelled needed key": Damage(PUMP, 'tropic = "small/tank/pump"', ("unknown key `tropic`", '"topic"')),
    "missing key": Damage(
        '[[sensor]]\nname = "oxygen"\nquantity = "oxygen"',
        '[[sensor]]  # here\nname = "oxygen"',
        ('sensor "oxygen"', "`quantity` is missing", "one of"),
    ),
    "empty key": Damage('cause = "Air stopped."', 'cause = " "', ('alarm "Oxygen low"', "`cause` is empty")),
    "list for a text": Damage(
        'sensor = "air pump"', 'sensor = ["air pump"]', ('`sensor` is ["air pump"]', "a text")
    ),
    "wrong item": Damage('ways = ["email"]', 'ways = ["emial"]', ("item 1 of `ways`", '"emial"', '"email"')),
    "inner table, range": Damage(
        "drawn_percent = 90", "drawn_percent = 101", ("`drawn_percent` is 101", "5 to 100 [%]")
    ),
    "inner table, unknown key": Damage(
        "drawn_percent = 90", "drawn_pct = 9", ("`drawn_pct`", '"drawn_percent"')
    ),
    "inner table is none": Damage(
        "[curtain.light_ceiling]\ndraw_above_w_m2 = 650\nopen_below_w_m2 = 450\ndrawn_percent = 90",
        "light_ceiling = 5",
        ("`light_ceiling` is 5", "a table"),
    ),
    "unknown table": Damage("[call_rules]", "[call_ruls]", ("unknown table [call_ruls]", "[call_rules]")),
    "unknown tables": Damage("[journal]", "[zzz]", ("unknown table [zzz]", "[[person]]")),
    "one bracket": Damage("[[curtain]]", "[curtain]", ("[[curtain]] in double brackets",)),
    "two brackets": Damage("[journal]", "[[journal]]", ("[journal] in single brackets",)),
}

PLACES = {
    "site id": Damage(SITE, 'id = "Small House"', ('`id` is "Small House"', "lower-case")),
    "invisible name": Damage('name = "Small house"', 'name = "Small\\u0007house"', ("invisible",)),
    "broker nowhere": Damage('host = "127.0.0.1"', 'host = ""', ("`host` is empty",)),
    "broker without a name for itself": Damage(
        'host = "127.0.0.1"', 'client_id = ""', ("of its own for each",)
    ),
    "authority without encryption": Damage(
        'sender = "house@example.org"',
        'sender = "house@example.org"\nsecurity = "none"\ntls_ca_file = "/ca.pem"',
        ('`security` is "none"',),
        "tls_ca_file",
    ),
    "time zone": Damage('"Europe/London"', '"Europe/Lodnon"', ('"Europe/Lodnon"', '"Europe/London"')),
    "time zone is a folder": Damage('"Europe/London"', '"Europe"', ("no time zone",)),
    "time zone is a path": Damage('"Europe/London"', '"../../etc/passwd"', ("no time zone",)),
    "password without account": Damage(
        'username = "duskbell"\n', "", ("`password_file` is set without",), '"/etc/duskbell/broker"'
    ),
    "authority without tls": Damage('host = "127.0.0.1"', 'tls_ca_file = "/ca.pem"', ("`tls` is false",)),
    "journal folder": Damage('"/var/lib/duskbell"', '"var"', ("begins with /",)),
    "mail sender": Damage('"house@example.org"', '"House <house@example.org>"', ("one bare address",)),
    "mail account alone": Damage(
        'password_file = "/etc/duskbell/mail"\n', "", ("go together",), 'username = "house"'
    ),
    "mail table missing": Damage(
        '[mail]\nhost = "mail.example.org"\nusername = "house"\npassword_file = "/etc/duskbell/mail"\n'
        'sender = "house@example.org"\n',
        "",
        ("there is no [mail] table",),
        '[[call]]\nresponse = "emergency"',
    ),
}

SENSORS = {
    "name twice": Damage(
        '[[sensor]]\nname = "oxygen"',
        '[[sensor]]\nname = "Oxygen"\nquantity = "ph"\nunit = "pH"\ntopic = "x"\n\n[[sensor]]\nname = "oxygen"',
        ('"oxygen" is used twice',),
        'name = "oxygen"\nquantity',
    ),
    "unit": Damage('unit = "mg/L"', 'unit = "ppm"', ('"ppm"', "allowed for oxygen are mg/L")),
    "unit of another quantity": Damage(
        'unit = "on/off"', 'unit = "K"', ('"K"', "allowed for switch are on/off")
    ),
    "wildcard": Damage(PUMP, 'topic = "small/+/pump"', ("wildcard",)),
    "slash in front": Damage(PUMP, 'topic = "/small/pump"', ("neither starts nor ends with /",)),
    "blank in a part": Damage(PUMP, 'topic = "small/tank /pump"', ("starts or ends with a blank",)),
    "blank behind a topic in use": Damage(PUMP, 'topic = " small/tank/oxygen "', ("already used",)),
    "unseen character behind a topic in use": Damage(
        PUMP, 'topic = "small/tank/oxygen\\u200b"', ("character nobody sees",)
    ),
    "own topics": Damage(PUMP, 'topic = "duskbell/small-house/pump"', ("itself publishes",)),
    "topic shared": Damage(
        PUMP, OXYGEN + " # pump", ('"small/tank/oxygen" is already used by sensor "oxygen"',)
    ),
    "topic and pointer shared": Damage(
        'pointer = "/outside"',
        'pointer = "/inside" # too',
        ("already used",),
        'topic = "small/house/air"\nform = "json"\npointer = "/inside" # too',
    ),
    "json without pointer": Damage(
        'pointer = "/outside"\n', "", ("`pointer` must say",), 'form = "json"\npossible_low'
    ),
    "pointer without json": Damage("interval_s = 30", 'pointer = "/value"', ('only for `form = "json"`',)),
    "pointer without slash": Damage('pointer = "/outside"', 'pointer = "outside"', ("begins with /",)),
    "senml name without senml": Damage("interval_s = 30", 'senml_name = "a"', ('only for `form = "senml"`',)),
    "light not mounted": Damage(
        ROOF_LIGHT,
        'topic = "small/roof/light"',
        ("`mounted` is missing", '"below curtain"'),
        '[[sensor]]\nname = "roof light"',
    ),
    "other mounted": Damage(
        "interval_s = 30", 'mounted = "outside"\n#', ("only for light",), 'mounted = "outside"\n#'
    ),
    "range upside down": Damage(
        "possible_low = -30", "possible_low = 70", ("`possible_low` 70 must be below", "[C]")
    ),
    "ceiling outside": Damage(
        "interval_s = 30", "sensor_ceiling = 25", ("inside the possible range", "[mg/L]")
    ),
    "stale before next": Damage(
        "interval_s = 30", "stale_after_s = 10", ("`stale_after_s` is 10", "`interval_s` 60 is needed [s]")
    ),
    "flat before stale": Damage("interval_s = 30", "flat_after_min = 1", ("`flat_after_min` is 1", "[min]")),
    "word of another quantity": Damage("interval_s = 30", 'off_word = "x"', ("only for a switch",)),
    "invisible name": Damage(
        "[[curtain]]",
        '[[sensor]]\nname = "a\\nb"\nquantity = "ph"\nunit = "pH"\ntopic = "x"\n\n[[curtain]]',
        ('"a?b"', "only printed characters"),
        'name = "a\\nb"',
    ),
    "word is empty": Damage('on_word = "runs"', 'on_word = ""', ("`on_word` is empty",)),
    "words alike": Damage('on_word = "runs"', 'on_word = "off"', ("contradict",)),
}

CURTAINS = {
    "no such light": Damage(
        'light_sensor = "roof light"', 'light_sensor = "roof ligt"', ('"roof ligt"', '"roof light"')
    ),
    "not a light": Damage(
        'light_sensor = "roof light"', 'light_sensor = "oxygen"', ("measures oxygen", "light is needed")
    ),
    "no such temperature": Damage(
        'inside_temperature = "inside air"', 'inside_temperature = "x"', ("no sensor",)
    ),
    "heat without outside": Damage(
        'outside_temperature = "outside air"\n', "", ("needs `outside_temperature`",), "[curtain.hold_heat]"
    ),
    "same thermometer": Damage(
        'outside_temperature = "outside air"', 'outside_temperature = "inside air"', ("same sensor",)
    ),
    "command topic shared": Damage(
        'report_topic = "small/curtain/report"', 'report_topic = "small/curtain/command"', ("already used",)
    ),
    "sensor on command topic": Damage(
        PUMP,
        'topic = "small/curtain/report" # pump',
        ("already used",),
        'report_topic = "small/curtain/report"',
    ),
    "no hysteresis": Damage(
        "open_below_w_m2 = 450", "open_below_w_m2 = 650", ("below `draw_above_w_m2` 650 [W/m2]",)
    ),
    "saturates": Damage(
        ROOF_LIGHT, ROOF_LIGHT + "\nsensor_ceiling = 650", ("ends at 650 [W/m2]",), "draw_above_w_m2 = 650"
    ),
    "shadow": Damage(
        ROOF_LIGHT,
        'topic = "small/roof/light"\nmounted = "below curtain"',
        ("`transmission`", "shadow"),
        'light_sensor = "roof light"',
    ),
    "duty under travel": Damage(CURTAIN, "duty_s_per_hour = 200", ("`duty_s_per_hour` is 200", "300 [s]")),
    "never moves": Damage(
        "[curtain.light_ceiling]\ndraw_above_w_m2 = 650\nopen_below_w_m2 = 450\ndrawn_percent = 90",
        "smallest_move_percent = 50\n[curtain.light_ceiling]\ndrawn_percent = 40",
        ("`drawn_percent` is 40", "50 [%]"),
        "drawn_percent = 40",
    ),
    "opens before it draws": Damage(
        "low_light_below_w_m2 = 15", "low_light_below_w_m2 = 60", ("below `open_least_w_m2` 60",)
    ),
    "least over most": Damage(
        "open_least_w_m2 = 60", "open_least_w_m2 = 160", ("at most `open_most_w_m2` 150",)
    ),
}

ALARMS = {
    "name twice": Damage('name = "Oxygen missing"', 'name = "oxygen low"', ('"oxygen low" is used twice',)),
    "no such sensor": Damage('sensor = "air pump"', 'sensor = "air pomp"', ('"air pomp"', '"air pump"')),
    "limit missing": Damage(LOW, "#", ("so `limit` is needed",), 'kind = "low"'),
    "limit for none": Damage('alarm_when = "off"', "limit = 1", ("only for kind high, low, rate",)),
    "limit outside": Damage("limit = 4.0", "limit = 20", ("above 0 and below 20 [mg/L]",)),
    "rate is doubted": Damage(
        'kind = "low"\nsensor = "oxygen"\nlimit = 4.0',
        'kind = "rate"\nsensor = "oxygen"\nlimit = -1',
        ("already doubted", "[mg/L per min]"),
        "limit = -1",
    ),
    "rate of nothing": Damage(
        'kind = "low"\nsensor = "oxygen"\nlimit = 4.0',
        'kind = "rate"\nsensor = "oxygen"\nlimit = 0',
        ("negative for a fall",),
        "limit = 0",
    ),
    "deadband swallows a rate": Damage(
        'kind = "low"\nsensor = "oxygen"\nlimit = 4.0',
        'kind = "rate"\nsensor = "oxygen"\nlimit = -0.5',
        ("less than the `limit` 0.5",),
        "deadband = 0.5",
    ),
    "cause without words": Damage('"Air stopped."', '"-"', ("`cause` is", "words that a person can go by")),
    "consequence without words": Damage(
        '"Fish suffocate."', '"?!"', ("`consequence` is", "words that a person can go by")
    ),
    "action without words": Damage('"Check the breaker."', '"1."', ("`action` is", "words that a person")),
    "action of two lines": Damage('"Check the breaker."', '"Check\\nthe breaker."', ("one line",)),
    "deadband swallows": Damage(
        "deadband = 0.5",
        "deadband = 16",
        (
            "could never end [mg/L]",
            "16 is needed",
        ),
    ),
    "switch on a probe": Damage(
        'kind = "low"\nsensor = "oxygen"\n' + LOW,
        'kind = "switch"\nsensor = "oxygen"',
        ("needs a sensor of quantity switch",),
        'kind = "switch"\nsensor = "oxygen"',
    ),
    "limit on a switch": Damage(
        'kind = "switch"\nsensor = "air pump"\nalarm_when = "off"',
        'kind = "high"\nsensor = "air pump"\nlimit = 0.5',
        ("has no limits", "kind switch"),
    ),
    "when": Damage('alarm_when = "off"', 'alarm_when = "of"', ('allowed is one of "on", "off"',)),
    "fault of nothing": Damage(
        'of = "broker"\n', "", ("`of` must name", "broker, journal"), 'kind = "fault"'
    ),
    "fault with sensor": Damage(
        'of = "broker"',
        'of = "broker"\nsensor = "oxygen"',
        ("`sensor` is only for",),
        'sensor = "oxygen"\nresponse = "note"',
    ),
    "of without fault": Damage('alarm_when = "off"', 'of = "broker" # off', ("`of` is only for kind fault",)),
    "no cause": Damage(
        'cause = "Breaker."\n', "", ("`cause` is missing",), '[[alarm]]\nname = "Air pump off"'
    ),
    "no action": Damage('action = "Check the breaker."', 'action = ""', ("`action` is empty",)),
    "twins": Damage(
        'kind = "switch"\nsensor = "air pump"\nalarm_when = "off"',
        'kind = "missing"\nsensor = "oxygen" # too',
        ('watches the same as "Oxygen missing"',),
        'name = "Air pump off"',
    ),
}

PEOPLE = {
    "name twice": Damage(
        '[[person]]\nname = "deputy"',
        '[[person]]\nname = "Keeper"\nemail = "a@example.org"\n\n[[person]]\nname = "deputy"',
        ('"Keeper" is used twice',),
        'name = "Keeper"',
    ),
    "no address": Damage(
        'email = "deputy@example.org"\n', "", ("nobody can reach",), '[[person]]\nname = "deputy"'
    ),
    "no mail address": Damage('"deputy@example.org"', '"deputy at example.org"', ("one bare address",)),
    "no such person": Damage('people = ["keeper"]', 'people = ["keepr"]', ('"keepr"', '"keeper"')),
    "nobody": Damage('people = ["keeper"]', "people = []", ("`people` is empty",)),
    "no way": Damage('ways = ["email"]', "ways = []", ("`ways` is empty",)),
    "twice in a step": Damage('people = ["keeper"]', 'people = ["keeper", "keeper"]', ('"keeper" twice',)),
    "notes call nobody": Damage(
        "[call_rules]",
        '[[call]]\nresponse = "note"\nafter_min = 0\npeople = ["keeper"]\n\n[call_rules]',
        ("notes call nobody",),
        'response = "note"\nafter_min',
    ),
    "not at once": Damage("after_min = 0", "after_min = 1", ("no emergency step has `after_min = 0`",)),
    "no step": Damage(
        '[[call]]\nresponse = "emergency"',
        '[[call]]\nresponse = "today"',
        ("no [[call]] step has",),
        'response = "emergency"\ncause = "Air stopped."',
    ),
}

SYNTAX = {
    "no quotes": Damage(SITE, "id = small-house", ("not TOML at column 6", "straight quotes")),
    "curly quotes": Damage(SITE, "id = “small-house”", ("straight quotes",)),
    "open quote": Damage(SITE, 'id = "small-house', ("closing quote",)),
    "comma for point": Damage("latitude_deg = 54.0", "latitude_deg = 54,0", ("one point",)),
    "unit at number": Damage("interval_s = 30", "interval_s = 30s", ("no unit",)),
    "yes": Damage('host = "127.0.0.1"', "tls = yes", ("true or false",)),
    "no equals": Damage(SITE, 'id "small-house"', ("needs =",)),
    "key with a line end": Damage(SITE, SITE + '\n"a\\nb" = 1', ("unknown key `a?b`",), '"a\\nb"'),
    "key twice": Damage(SITE, SITE + '\nid = "other"', ("stands twice",), 'id = "other"'),
    "open bracket": Damage("[journal]", "[journal", ("closing ] is missing",)),
    "open brackets": Damage("[[curtain]]", "[[curtain]", ("closing ]] is missing",)),
    "table twice": Damage("[call_rules]", "[journal] # again\n#", ("stands twice",), "[journal] # again"),
    "open list": Damage('people = ["keeper", "deputy"]', 'people = ["keeper" "deputy"]', ("commas between",)),
    "open long text": Damage(
        'action = "Restart the broker."', 'action = """Restart', ("not closed",), "call_out_and_travel_min"
    ),
}

ALL = {
    f"{group}: {name}": each
    for group, table in (
        ("key", ONE_KEY),
        ("place", PLACES),
        ("sensor", SENSORS),
        ("curtain", CURTAINS),
        ("alarm", ALARMS),
        ("people", PEOPLE),
        ("syntax", SYNTAX),
    )
    for name, each in table.items()
}


def test_the_good_file_has_no_problem() -> None:
    """The file that the tests damage is good, so every problem below comes from the damage."""
    assert isinstance(load_settings(GOOD, file_name="house.toml"), Plan)


@pytest.mark.parametrize("each", ALL.values(), ids=ALL.keys())
def test_one_mistake_is_one_problem_at_its_line(each: Damage) -> None:
    """One mistake is told once, as FILE:LINE, with what is wrong and what is allowed."""
    text = damage(each)
    expected = f"house.toml:{line_of(text, each.at or each.new)}: "
    told = tell(text)
    assert [expected] == [problem[: len(expected)] for problem in told], told
    for word in each.words:
        assert word in told[0], told[0]


def test_a_missing_table_is_told_at_the_top() -> None:
    """A file without the table of the place says so on its first line."""
    text = GOOD.replace("[site]", "[journal]", 1).split("[broker]")[1]
    told = tell("[broker]" + text)
    assert "house.toml:1: table [site] is missing (The place.)" in told


def test_a_key_where_a_table_belongs_is_told() -> None:
    """A value in place of a whole table is told with the form the table has."""
    text = "journal = 5\n" + GOOD.replace('[journal]\ndirectory = "/var/lib/duskbell"\n', "")
    assert tell(text) == ["house.toml:1: journal: a table is needed here, written [journal]"]


def test_a_curtain_in_a_house_without_sensors_is_told() -> None:
    """Where there are no sensors at all, the problem says so and does not list them."""
    text = GOOD[: GOOD.index("[[sensor]]")] + GOOD[GOOD.index("[[curtain]]") : GOOD.index("[[alarm]]")]
    told = tell(text)
    assert len(told) == 3
    assert all("there is no sensor at all" in problem for problem in told)


def test_a_name_among_very_many_is_not_answered_with_all_of_them() -> None:
    """A problem lists thirty known names at most."""
    many = "".join(f'[[person]]\nname = "{n:03d}"\nemail = "a@example.org"\n\n' for n in range(60))
    (told,) = tell(GOOD.replace("[call_rules]", many + "[call_rules]").replace('= ["keeper"]', '= ["zzzzz"]'))
    assert told.endswith(", ...")
    assert len(told) < 400


def test_a_reference_to_a_table_that_is_refused_is_no_second_problem() -> None:
    """A sensor of unknown quantity is one problem, not one more for each curtain and alarm that uses it."""
    told = tell(GOOD.replace('quantity = "oxygen"', 'quantity = "air"'))
    assert len(told) == 1
    assert "`quantity`" in told[0]


def test_an_empty_file_is_told_to_lack_the_site() -> None:
    """An empty file is refused at line 1, not taken for a house without anything."""
    assert tell("") == ["house.toml:1: table [site] is missing (The place.)"]


def test_a_file_that_is_not_there_is_a_problem(tmp_path: Path) -> None:
    """A path that cannot be opened is told like any other problem."""
    path = tmp_path / "none.toml"
    loaded = read_settings(path)
    assert isinstance(loaded, tuple)
    assert f"{path}:1: cannot be read: No such file or directory" == str(loaded[0])


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    """A folder in place of the file is told, not raised."""
    loaded = read_settings(tmp_path)
    assert isinstance(loaded, tuple)
    assert "Is a directory" in str(loaded[0])


def test_a_pipe_is_no_file(tmp_path: Path) -> None:
    """A pipe that nobody writes into is told at once; reading it would wait for ever."""
    path = tmp_path / "pipe.toml"
    os.mkfifo(path)
    loaded = read_settings(path)
    assert isinstance(loaded, tuple)
    words = "cannot be read: it is a pipe, a device or a socket; a regular file is needed"
    assert f"{path}:1: {words}" == str(loaded[0])


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"Air stopped."', '"\u7a7a\u6c14\u505c\u6b62\u3002"'),
        ('"Fish suffocate."', '"\u0416"'),
        ('"Check the breaker."', '"\u0627\u0641\u062d\u0635"'),
    ],
    ids=["Chinese", "Cyrillic", "Arabic"],
)
def test_a_letter_of_any_script_makes_words(old: str, new: str) -> None:
    """A cause, a consequence and an action may be written in any script."""
    assert isinstance(load_settings(damage(Damage(old, new, ())), file_name="house.toml"), Plan)


def test_a_byte_that_is_not_utf_8_is_told_at_its_line(tmp_path: Path) -> None:
    """A file saved in another encoding is told at the first line that shows it."""
    path = tmp_path / "latin.toml"
    path.write_bytes(GOOD.replace("Small house", "Gl\xe4shaus").encode("latin-1"))
    loaded = read_settings(path)
    assert isinstance(loaded, tuple)
    assert f"{path}:3: a character is not written in UTF-8" in str(loaded[0])


def test_a_byte_order_mark_and_other_line_ends_do_no_harm(tmp_path: Path) -> None:
    """A file saved on another system, with a byte-order mark and CR LF, is read all the same."""
    path = tmp_path / "house.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert isinstance(read_settings(path), Plan)


def test_a_huge_file_is_refused_unread(tmp_path: Path) -> None:
    """A file that cannot be a settings file is refused for its size."""
    path = tmp_path / "huge.toml"
    path.write_bytes(b"#" * 1_000_001)
    loaded = read_settings(path)
    assert isinstance(loaded, tuple)
    assert "larger than 1000000 bytes" in str(loaded[0])
