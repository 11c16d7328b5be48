"""All mistakes of a file are told in one go, and no damage to a file can do worse than be told."""

from __future__ import annotations

from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.plan.plan import Plan
from controller.settings.load import load_settings, read_settings

GOOD = (Path(__file__).parent / "good.toml").read_text(encoding="utf-8")

MISTAKES = (
    ("latitude_deg = 54.0", "latitude_deg = 540"),
    ('time_zone = "Europe/London"', 'time_zone = "Europe/Londn"'),
    ('host = "127.0.0.1"', "port = 0"),
    ('directory = "/var/lib/duskbell"', 'directory = "var"'),
    ('sender = "house@example.org"', 'sender = "house"'),
    ('unit = "mg/L"', 'unit = "mg"'),
    ("interval_s = 30", "intervals = 30"),
    ('topic = "small/tank/pump"', 'topic = "small/#"'),
    ('on_word = "runs"', "on_word = 1"),
    ('light_sensor = "roof light"', 'light_sensor = "oxygen"'),
    ("open_below_w_m2 = 450", "open_below_w_m2 = 700"),
    ("inside_below_c = 18", "inside_below = 18"),
    ("limit = 4.0", "limit = 400"),
    ('action = "Clean the probe."', 'action = ""'),
    ('alarm_when = "off"', 'alarm_when = "never"'),
    ('of = "broker"', 'of = "brokr"'),
    ('email = "deputy@example.org"', "email = deputy@example.org"),
    ("after_min = 0", "after_min = 3"),
    ('people = ["keeper"]', 'people = ["keper"]'),
    ("call_out_and_travel_min = 40", "call_out_and_travel_min = 4000"),
)
"""Twenty mistakes of as many kinds: ranges, words, units, topics, references, a text without quotes."""


def test_twenty_mistakes_are_told_at_their_twenty_lines() -> None:
    """A file with twenty mistakes in all its tables lists twenty problems, each at its own line."""
    text = GOOD
    for old, new in MISTAKES:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    expected = sorted(text[: text.index(new)].count("\n") + 1 for _, new in MISTAKES)
    loaded = load_settings(text, file_name="house.toml")
    assert isinstance(loaded, tuple)
    assert expected == [problem.line for problem in loaded], "\n".join(map(str, loaded))


def test_several_slips_of_writing_are_told_together_with_other_mistakes() -> None:
    """Texts without quotes and an open header do not hide each other, nor a number out of range."""
    text = GOOD.replace('name = "Small house"', "name = Small house").replace("[journal]", "[journal")
    text = text.replace("after_min = 5", "after_min = 5min").replace(
        "drawn_percent = 90", "drawn_percent = 900"
    )
    loaded = load_settings(text, file_name="house.toml")
    assert isinstance(loaded, tuple)
    marks = ("name = Small house", "[journal\n", "drawn_percent = 900", "after_min = 5min")
    assert [text[: text.index(mark)].count("\n") + 1 for mark in marks] == [
        problem.line for problem in loaded
    ]


def test_an_unreadable_name_does_not_accuse_those_who_use_it() -> None:
    """A sensor whose name could not be read is not said to be missing by its alarms."""
    text = GOOD.replace('name = "oxygen"', "name = oxygen")
    loaded = load_settings(text, file_name="house.toml")
    assert isinstance(loaded, tuple)
    assert [text[: text.index("name = oxygen")].count("\n") + 1] == [problem.line for problem in loaded]


def test_a_bad_sensor_does_not_hide_a_bad_curtain() -> None:
    """A wrong key in one table leaves the checks between all other tables in force."""
    text = GOOD.replace("interval_s = 30", "interval_s = 0").replace(
        "open_below_w_m2 = 450", "open_below_w_m2 = 700"
    )
    loaded = load_settings(text, file_name="house.toml")
    assert isinstance(loaded, tuple)
    assert [problem.text.split(" is ")[0].split(": ")[-1] for problem in loaded] == [
        "`interval_s`",
        "`open_below_w_m2`",
    ]


def check(text: str) -> None:
    """Load a text and ask what must hold whatever stands in it."""
    loaded = load_settings(text, file_name="house.toml")
    if isinstance(loaded, Plan):
        return
    rows = max(1, text.count("\n") + (not text.endswith("\n")))
    assert loaded, "what is no plan has at least one problem"
    for problem in loaded:
        assert 1 <= problem.line <= rows, problem
        assert problem.text
        assert "\n" not in problem.text, problem


LINES = GOOD.split("\n")
SOME = st.integers(0, len(LINES) - 1)
PIECES = st.one_of(
    st.text(max_size=12),
    st.sampled_from(
        [
            '"""',
            "'''",
            "[",
            "]",
            "[[",
            "]]",
            "=",
            "{",
            "}",
            "1e999",
            "-0",
            "nan",
            "2025-01-01",
            "\\",
            "#",
            "\x00",
        ]
    ),
    st.sampled_from(LINES),
)


@st.composite
def damaged_texts(draw: st.DrawFn) -> str:
    """Draw a good file with lines deleted, doubled, swapped, overwritten or spliced."""
    rows = list(LINES)
    for _ in range(draw(st.integers(1, 8))):
        at = min(draw(SOME), len(rows) - 1)
        match draw(st.sampled_from(["delete", "double", "swap", "overwrite", "splice", "cut"])):
            case "delete" if len(rows) > 1:
                del rows[at]
            case "double":
                rows.insert(min(draw(SOME), len(rows)), rows[at])
            case "swap":
                other = min(draw(SOME), len(rows) - 1)
                rows[at], rows[other] = rows[other], rows[at]
            case "overwrite":
                rows[at] = draw(PIECES)
            case "splice":
                middle = draw(st.integers(0, len(rows[at])))
                rows[at] = rows[at][:middle] + draw(PIECES) + rows[at][middle:]
            case _:
                rows[at] = rows[at][: draw(st.integers(0, len(rows[at])))]
    return "\n".join(rows)


@given(damaged_texts())
@settings(max_examples=300, deadline=None)
def test_damaged_files_are_always_told_and_never_raise(text: str) -> None:
    """However a good file is damaged, the outcome is a plan or problems with lines of that file."""
    check(text)


@given(st.text(max_size=200))
@settings(deadline=None)
def test_any_text_is_told_and_never_raises(text: str) -> None:
    """Any text at all is a plan or problems with lines of that text."""
    check(text)


def test_monstrous_texts_are_told() -> None:
    """Nesting without end, numbers of thousands of digits and endless brackets are told, not raised."""
    for text in (
        "a = " + "[" * 5000,
        "a = " + "[" * 5000 + "]" * 5000,
        "a = " + "9" * 5000,
        ".".join(["a"] * 5000) + " = 1",
        "[" + ".".join(["a"] * 5000) + "]",
        "\n".join(f"k{count} = x" for count in range(200)),
        "[site]\nlatitude_deg = 1e400\nlongitude_deg = 99999999999999999999999\nelevation_m = -inf\n",
        "[site]\nname = \ud800\n",
        "[site]\nname." + ".".join(["a"] * 3000) + " = 1",
        "[site]\nname = " + "[" * 300 + "]" * 300,
        "sensor = [1, [2], {a = 1}]\nsite = []",
    ):
        check(text)


def test_any_bytes_are_told(tmp_path_factory: object) -> None:
    """A file of any bytes is told and never raised."""
    from random import Random  # noqa: PLC0415 - a seeded stream of bytes for this test alone

    folder = Path(str(tmp_path_factory.mktemp("bytes")))  # type: ignore[attr-defined]
    stream = Random(7)  # noqa: S311 - no secret
    good = GOOD.encode()
    for round_ in range(100):
        content = bytearray(good)
        for _ in range(1 + round_ % 5):
            content[stream.randrange(len(content))] = stream.randrange(256)
        path = folder / "house.toml"
        path.write_bytes(content)
        loaded = read_settings(path)
        rows = content.count(b"\n") + 1
        assert isinstance(loaded, Plan) or all(1 <= problem.line <= rows for problem in loaded)


def test_a_name_that_cannot_be_read_asks_for_nothing_else() -> None:
    """A sensor whose name has curly quotes is one mistake; an emergency that watches no sensor is not a second."""
    demo = (Path(__file__).parents[2] / "config" / "duskbell.toml").read_text(encoding="utf-8")
    loaded = load_settings(
        demo.replace('name = "outdoor light"', "name = \u201coutdoor light\u201d", 1), file_name="demo.toml"
    )

    assert not isinstance(loaded, Plan)
    assert ["straight quotes" in problem.text for problem in loaded] == [True]
