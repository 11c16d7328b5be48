"""Presets: the shipped ones are whole and sourced, broken ones are refused, and compromises add up."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.water import ammonia
from controller.settings.presets import (
    EVERYONE_WANTS,
    Band,
    Demand,
    Kind,
    Mark,
    Preset,
    PresetRefused,
    Want,
    compromise,
    list_presets,
    load_preset,
    load_presets,
)

FOLDER = Path(__file__).parents[2] / "config" / "presets"
SHIPPED = (
    "african-catfish",
    "basil",
    "common-carp",
    "lettuce",
    "nitrifying-filter",
    "rainbow-trout",
    "seedlings",
    "tilapia",
    "tomato",
)
WHOLE = """
title = "A test fish"
kind = "fish"
[bands]
temperature = { low = 20, high = 30, unit = "C", source = "a test", mark = "our choice" }
ph = { low = 6.5, high = 8.0, unit = "pH", source = "a test", mark = "our choice" }
oxygen = { low = 5, unit = "mg/L", source = "a test", mark = "our choice" }
unionised_ammonia = { high = 0.05, unit = "mg/L as N", source = "a test", mark = "our choice" }
nitrite = { high = 1, unit = "mg/L as N", source = "a test", mark = "our choice" }
nitrate = { high = 100, unit = "mg/L as N", source = "a test", mark = "our choice" }
[demands]
oxygen_demand = { low = 100, high = 300, unit = "mg/kg/h", source = "a test", mark = "our choice" }
"""
ENDS = st.one_of(st.none(), st.floats(0, 100))


def make_preset(name: str, *, low: float | None, high: float | None) -> Preset:
    """Make a preset that is whole and has one temperature band of its own."""

    def band(unit: str, *, ends: tuple[float | None, float | None] = (None, 50.0)) -> Band:
        return Band(low=ends[0], high=ends[1], unit=unit, source="a test", mark=Mark.OUR_CHOICE)

    return Preset(
        name=name,
        title="A test fish",
        kind=Kind.FISH,
        bands={
            Want.TEMPERATURE: band("C", ends=(low, high)),
            Want.PH: band("pH"),
            Want.OXYGEN: band("mg/L"),
            Want.UNIONISED_AMMONIA: band("mg/L as N"),
            Want.NITRITE: band("mg/L as N"),
            Want.NITRATE: band("mg/L as N"),
        },
        demands={Demand.OXYGEN_DEMAND: band("mg/kg/h")},
    )


def write(folder: Path, text: str) -> Path:
    """Write a preset called `test-fish` and give its folder."""
    (folder / "test-fish.toml").write_text(text, encoding="utf-8")
    return folder


def test_the_shipped_presets_are_those_promised() -> None:
    """Four fish, the filter, three crops and seedlings."""
    assert list_presets(FOLDER) == SHIPPED


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_preset_is_whole(name: str) -> None:
    """It loads, names what everyone wants, and carries a demand."""
    preset = load_preset(name, folder=FOLDER)

    assert set(preset.bands) >= EVERYONE_WANTS
    assert preset.demands


@pytest.mark.parametrize("name", SHIPPED)
def test_every_number_stands_in_an_inline_table_with_its_source(name: str) -> None:
    """Unit, source and mark stand on the same line as the number, for a person to read."""
    text = (FOLDER / f"{name}.toml").read_text(encoding="utf-8")
    table = tomllib.loads(text)

    for section in ("bands", "demands"):
        for quantity in table[section]:
            line = next(line for line in text.splitlines() if line.startswith(f"{quantity} = "))
            assert all(f"{word} = " in line for word in ("unit", "source", "mark"))


@pytest.mark.parametrize(
    ("name", "want", "high"),
    [
        # Schram et al. 2010, Roques et al. 2015, Schram et al. 2014: molar limits times 14.0067.
        ("african-catfish", Want.UNIONISED_AMMONIA, 0.024 * 14.0067),
        ("african-catfish", Want.NITRITE, 0.043 * 14.0067),
        ("african-catfish", Want.NITRATE, 10.0 * 14.0067),
        # Monsees et al. 2017.
        ("tilapia", Want.NITRATE, 500.0),
        # EIFAC 1970 (from memory): 0.025 mg/L as NH3.
        ("rainbow-trout", Want.UNIONISED_AMMONIA, 0.025 / 1.2159),
        # Somerville et al. 2014, FAO 589, table 3.1.
        ("nitrifying-filter", Want.TOTAL_AMMONIA, 3.0),
    ],
)
def test_a_published_limit_is_kept_to(name: str, want: Want, high: float) -> None:
    """The limit in the file is the published one, on the basis of nitrogen, to two figures."""
    assert load_preset(name, folder=FOLDER).bands[want].high == pytest.approx(high, rel=0.03)


@pytest.mark.parametrize("name", ["lettuce", "basil", "tomato"])
def test_a_computed_number_is_computed(name: str) -> None:
    """Un-ionised ammonia for crops is 30 mg/L total at pH 7.5 and 24 C by Emerson et al. 1975."""
    band = load_preset(name, folder=FOLDER).bands[Want.UNIONISED_AMMONIA]
    computed = ammonia.find_unionised_mg_l(total_ammonia_mg_l=30.0, ph=7.5, temperature_c=24.0)

    assert (band.mark, band.high) == (Mark.COMPUTED, pytest.approx(computed, abs=0.005))


def test_only_fish_in_a_preset_meet_the_fish_who_live_there() -> None:
    """For each shipped fish the wanted temperatures lie inside the lethal ones."""
    for preset in load_presets(SHIPPED, folder=FOLDER):
        if preset.kind is Kind.FISH:
            wanted, lethal = preset.bands[Want.TEMPERATURE], preset.bands[Want.LETHAL_TEMPERATURE]
            assert None not in {wanted.low, wanted.high, lethal.low, lethal.high}
            assert lethal.low < wanted.low < wanted.high < lethal.high  # type: ignore[operator]  # asserted


def test_tilapia_lettuce_and_the_filter_can_live_together() -> None:
    """The classic trio has a band in everything, and who limits each end is named."""
    found = compromise(load_presets(["tilapia", "nitrifying-filter", "lettuce"], folder=FOLDER))

    assert not [entry.describe() for entry in found.values() if entry.empty]
    assert (found[Want.PH].low, found[Want.PH].high) == (6.0, 7.0)
    assert found[Want.PH].high_by == ("lettuce",)
    assert found[Want.OXYGEN].low_by == ("tilapia",)


def test_trout_and_tilapia_cannot_live_together() -> None:
    """No temperature suits both, and it is said who disagrees."""
    found = compromise(load_presets(["tilapia", "rainbow-trout"], folder=FOLDER))[Want.TEMPERATURE]

    assert found.empty
    assert found.describe() == (
        "temperature: no value suits all: at least 25 (tilapia) and at most 19 (rainbow-trout) C"
    )


def test_nobody_asked_is_nothing_said() -> None:
    """A compromise of nobody names no quantity."""
    assert compromise([]) == {}


def test_equal_limits_share_the_blame() -> None:
    """Two presets with the same end are both named."""
    found = compromise([make_preset("a", low=20.0, high=30.0), make_preset("b", low=20.0, high=25.0)])

    assert (found[Want.TEMPERATURE].low_by, found[Want.TEMPERATURE].high_by) == (("a", "b"), ("b",))


@given(st.lists(st.tuples(ENDS, ENDS), min_size=1, max_size=5), st.floats(-10, 110))
def test_a_value_suits_the_compromise_exactly_when_it_suits_all(
    bands: list[tuple[float | None, float | None]], value: float
) -> None:
    """Being inside the common band and being inside every band are the same thing."""
    presets = []
    for index, ends in enumerate(bands):
        if ends == (None, None):
            continue
        low, high = ends if None in ends else sorted(end for end in ends if end is not None)
        presets.append(make_preset(f"fish-{index}", low=low, high=high))
    if not presets:
        return
    found = compromise(presets)[Want.TEMPERATURE]

    def suits(low: float | None, high: float | None) -> bool:
        return (low is None or low <= value) and (high is None or value <= high)

    everyone = all(suits(p.bands[Want.TEMPERATURE].low, p.bands[Want.TEMPERATURE].high) for p in presets)
    assert suits(found.low, found.high) == everyone
    assert not (found.empty and everyone)


def test_a_whole_file_is_read(tmp_path: Path) -> None:
    """The plain case, with a name from the file's name."""
    preset = load_preset("test-fish", folder=write(tmp_path, WHOLE))

    assert (preset.name, preset.bands[Want.OXYGEN].low) == ("test-fish", 5.0)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("low = 20, high = 30", "low = 30, high = 20", "low 30 is above high 20"),
        ("low = 20, high = 30, ", "", "give low, high or both"),
        ("low = 20, ", "low = nan, ", "finite number"),
        ("low = 20, ", "low = true, ", "valid number"),
        ("low = 20, ", 'low = "20", ', "valid number"),
        ('unit = "pH"', 'unit = "C"', "ph is kept in 'pH', not 'C'"),
        (
            'unit = "mg/L as N", source = "a test", mark = "our choice" }\nnitrite',
            'unit = "mg/L", source = "a test", mark = "our choice" }\nnitrite',
            "unionised_ammonia is kept in 'mg/L as N'",
        ),
        ('mark = "our choice"', 'mark = "trust me"', "mark"),
        ('source = "a test", ', "", "source"),
        ('kind = "fish"', 'kind = "cat"', "kind"),
        ('kind = "fish"', 'kind = "fish"\ncolour = "red"', "colour"),
        ('kind = "fish"', 'kind = "fish"\nname = "other"', "leave `name` out"),
        ("oxygen = {", "oxigen = {", "bands"),
        ("oxygen_demand = {", "oxygen_use = {", "a fish needs the demand oxygen_demand"),
        ("[bands]", "[bands", "test-fish.toml"),
    ],
)
def test_a_mistake_is_named(tmp_path: Path, old: str, new: str, words: str) -> None:
    """Each kind of mistake is refused with the file's name and what is wrong."""
    assert old in WHOLE
    folder = write(tmp_path, WHOLE.replace(old, new, 1))

    with pytest.raises(PresetRefused, match=r"test-fish\.toml") as refusal:
        load_preset("test-fish", folder=folder)

    assert words in str(refusal.value)


@pytest.mark.parametrize("name", ["../people", "Tilapia", "", "a/b", "tilapia.toml", "x" * 41])
def test_a_name_cannot_lead_out_of_the_folder(name: str) -> None:
    """Only small letters, digits and hyphens make a name."""
    with pytest.raises(PresetRefused, match="no name of a preset"):
        load_preset(name, folder=FOLDER)


def test_a_missing_preset_says_which_there_are() -> None:
    """The refusal lists what the folder holds."""
    with pytest.raises(PresetRefused, match="tilapia"):
        load_preset("piranha", folder=FOLDER)


def test_a_file_of_another_kind_is_refused(tmp_path: Path) -> None:
    """A file a hundred times too long, and one that is no text, are refused."""
    with pytest.raises(PresetRefused, match="longer than"):
        load_preset("test-fish", folder=write(tmp_path, "#" * 100_001))
    (tmp_path / "test-fish.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(PresetRefused, match="test-fish"):
        load_preset("test-fish", folder=tmp_path)


def test_a_preset_does_not_change_in_use() -> None:
    """What was loaded is frozen."""
    preset = load_preset("tilapia", folder=FOLDER)

    with pytest.raises(ValueError, match="frozen"):
        preset.title = "another"  # type: ignore[misc]  # the point of the test
