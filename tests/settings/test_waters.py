"""Waters, loops and test kits in the settings: what fits, and what is refused with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.core.plan.plan import Plan
from controller.settings.cautions import find_cautions
from controller.settings.load import load_settings
from controller.settings.summary import write_summary

GOOD = (Path(__file__).parent / "good.toml").read_text(encoding="utf-8")

WATERS = """
[[sensor]]
name = "warmth"
quantity = "temperature"
unit = "C"
topic = "small/tank/warmth"

[[sensor]]
name = "tank ec"
quantity = "conductivity"
unit = "mS/cm"
topic = "small/tank/ec"

[[sensor]]
name = "line ec"
quantity = "conductivity"
unit = "mS/cm"
topic = "small/line/ec"

[[sensor]]
name = "ammonia kit"
quantity = "total ammonia"
unit = "mg/L"
entered = true

[[water]]
name = "tank"
presets = ["common-carp", "nitrifying-filter"]
volume_l = 2000
fish_kg = 20
oxygen = "oxygen"
temperature = "warmth"
conductivity = "tank ec"
air = ["air pump"]
total_ammonia = "ammonia kit"
curtain = "main"
mirror = "line"

[[water]]
name = "line"
loop = "nutrient solution"
presets = ["lettuce"]
conductivity = "line ec"

[[alarm]]
name = "Line weak"
kind = "low"
sensor = "line ec"
limit = 1.2
loop = "nutrient solution"
response = "today"
cause = "Used up."
consequence = "Pale crop."
action = "Renew it."
time_to_respond_min = 600

[[alarm]]
name = "Saturation low"
kind = "low"
sensor = "tank oxygen saturation"
limit = 60
harm_at = 40
response = "today"
cause = "Air short."
consequence = "Fish gasp."
action = "More air."
time_to_respond_min = 60

[[alarm]]
name = "Ammonia test due"
kind = "due"
sensor = "ammonia kit"
response = "note"
cause = "Not tested."
consequence = "Nobody knows."
action = "Test it."
time_to_respond_min = 1440
"""

LINE_WEAK = 'sensor = "line ec"\nlimit = 1.2\nloop = "nutrient solution"'


def tell(old: str, new: str) -> list[str]:
    """Damage the good file and list its problems."""
    text = GOOD + WATERS
    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
    loaded = load_settings(text.replace(old, new), file_name="house.toml")
    assert not isinstance(loaded, Plan), "the text is damaged and must not load"
    return [str(problem) for problem in loaded]


def test_the_good_file_loads_and_is_told_back() -> None:
    """Waters, loops, derived readings, kits and the minutes without air stand in the summary.

    20 kg in 2 m3 at 300 mg/kg/h take 3 mg/L an hour.
    """
    plan = load_settings(GOOD + WATERS, file_name="house.toml")
    assert isinstance(plan, Plan), "\n".join(map(str, plan))
    told = write_summary(plan)

    assert 'Water "tank" (fish water, 2000 L, common-carp, nitrifying-filter)' in told
    assert "20 kg of fish, 10 kg/m3; without air they take 3 mg/L of oxygen an hour" in told
    assert "derived: tank oxygen saturation" in told
    assert "tank oxygen saturation < 60 %" in told
    assert "entered by hand" in told
    assert "a test of ammonia kit is due" in told


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (LINE_WEAK, LINE_WEAK.replace("nutrient solution", "fish water"), "limits of one loop never judge the other"),
        (LINE_WEAK, LINE_WEAK.replace('\nloop = "nutrient solution"', ""), "say with `loop` whether"),
        (LINE_WEAK, LINE_WEAK.replace("line ec", "tank ec"), 'but "tank ec" hangs in fish water'),
        (LINE_WEAK, LINE_WEAK.replace("line ec", "inside air").replace("1.2", "3"), "hangs in no [[water]]"),
        ('presets = ["lettuce"]', 'presets = ["tilapia"]', "no fish lives in nutrient solution"),
        ('presets = ["lettuce"]', 'presets = ["nitrifying-filter"]', "no filter lives in nutrient solution"),
        ('presets = ["lettuce"]', 'presets = ["letuce"]', 'did you mean "lettuce"?'),
        ('presets = ["lettuce"]', 'presets = ["../x"]', "there is no preset"),
        ('presets = ["lettuce"]\nconductivity = "line ec"', 'presets = ["lettuce"]\nconductivity = "tank ec"',
         "one probe is in one water"),
        ('presets = ["lettuce"]', "fish_kg = 3\nvolume_l = 10", 'is only for `loop = "fish water"`'),
        ('oxygen = "oxygen"', 'oxygen = "warmth"', "needs a sensor of oxygen"),
        ('oxygen = "oxygen"', 'oxygen = "oxigen"', 'did you mean "oxygen"?'),
        ('air = ["air pump"]', 'air = ["oxygen"]', "needs a sensor of switch"),
        ('curtain = "main"', 'curtain = "mian"', 'did you mean "main"?'),
        ('mirror = "line"', 'mirror = "lane"', 'did you mean "line"?'),
        ('mirror = "line"', 'mirror = "tank"', "names the water itself"),
        ("volume_l = 2000\n", "", "is of no use without `volume_l`"),
        ("harm_at = 40", "harm_at = 70", "a value at or past the `limit`, from 0 to 60"),
        ("harm_at = 40", "harm_at = -1", "a value at or past the `limit`"),
        ('kind = "due"', 'kind = "rate"\nlimit = 1', "is entered by hand: use high, low, due or missing"),
        ('kind = "due"\nsensor = "ammonia kit"', 'kind = "due"\nsensor = "oxygen"', "needs a sensor that is entered"),
        ('sensor = "tank oxygen saturation"', 'sensor = "tank oxygen saturatoin"', "there is no sensor"),
        ('kind = "low"\nsensor = "tank oxygen saturation"\nlimit = 60\nharm_at = 40',
         'kind = "rate"\nsensor = "tank oxygen saturation"\nlimit = -1', "is a derived reading"),
        ("entered = true", 'entered = true\ntopic = "small/kit"', "is not for a sensor that is entered by hand"),
        ("entered = true", "", "`topic` is missing"),
        ('quantity = "total ammonia"\nunit = "mg/L"', 'quantity = "light"\nunit = "W/m2"\nmounted = "outside"',
         "nobody enters that by hand"),
        ('topic = "small/tank/warmth"', 'topic = "small/tank/warmth"\nenter_every_days = 2',
         "only for `entered = true`"),
        ('name = "warmth"', 'name = "tank oxygen saturation"', "derived reading is; another name is needed"),
        (
            'topic = "small/tank/warmth"', 'topic = "small/tank/warmth"\npossible_high = 100',
            "`possible_high` is 100, at most 60 is allowed for the thermometer of a water",
        ),
        ("fish_kg = 20", "fish_kg = -1", "`fish_kg` is -1, allowed is a number from 0"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_told(old: str, new: str, words: str) -> None:
    """Each mistake is named with what is allowed."""
    problems = tell(old, new)

    assert any(words in problem for problem in problems), problems
    assert all(problem.startswith("house.toml:") for problem in problems)


def test_conductivity_needs_no_loop_where_there_is_but_one() -> None:
    """A house of fish water alone is not asked which loop a limit is meant for."""
    text = GOOD + WATERS.replace('loop = "nutrient solution"\n', "")

    assert isinstance(load_settings(text, file_name="house.toml"), Plan)


WHOLE = """
[[sensor]]
name = "tank pH"
quantity = "ph"
unit = "pH"
topic = "small/tank/ph"

[[alarm]]
name = "Free ammonia"
kind = "high"
sensor = "tank un-ionised ammonia"
limit = 0.05
response = "today"
cause = "Too much feed."
consequence = "Gills burn."
action = "Stop feeding."
time_to_respond_min = 600

[[alarm]]
name = "Tank cold"
kind = "low"
sensor = "warmth"
limit = 12
response = "today"
cause = "Heater."
consequence = "Fish chill."
action = "Heat it."
time_to_respond_min = 600
"""
RAFT = '\n\n[[water]]\nname = "raft"\npresets = ["rainbow-trout", "lettuce"]'
CALM = (GOOD + WATERS).replace('oxygen = "oxygen"\n', 'oxygen = "oxygen"\nph = "tank pH"\n') + WHOLE
"""The good house with nothing in its waters that is worth a word."""


def caution(text: str) -> list[str]:
    """List the cautions of a good text, but those about people and about parts of Duskbell that nobody watches."""
    plan = load_settings(text, file_name="house.toml")
    assert isinstance(plan, Plan), plan
    apart = ('no entry of kind "fault"', "supervision: there is none", "alone: when that one way is down")
    return [each.text for each in find_cautions(plan) if not any(words in each.text for words in apart)]


def test_a_house_with_everything_in_place_gets_no_caution_of_its_waters() -> None:
    """The cautions below come from the change made to the text."""
    assert caution(CALM) == []


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('air = ["air pump"]\n', "", "no switch tells whether it gets air"),
        ("fish_kg = 20\n", "", "common-carp lives in it and nobody has said how much"),
        ('ph = "tank pH"\n', "", "without `ph` nobody can tell the part that harms fish"),
        ('kind = "due"', 'kind = "missing"', '"ammonia kit": people enter it and no alarm of kind due'),
        (
            'kind = "high"\nsensor = "tank un-ionised',
            'kind = "low"\nsensor = "tank un-ionised',
            "un-ionised ammonia is reckoned and nobody is told of it",
        ),
        (
            "fish_kg = 20\n",
            "fish_kg = 20\ndemand_mg_kg_h = 20\n",
            "`demand_mg_kg_h` comes to 20 mg/kg/h; usual",
        ),
        (
            "fish_kg = 20\n",
            "fish_kg = 20\nfeed_g_d = 5000\n",
            "`feed_g_d` comes to 25 % of body mass/d; usual",
        ),
        (
            "fish_kg = 20\n",
            "fish_kg = 20\nfeed_g_d = 300\nprotein_percent = 5\n",
            "`protein_percent` comes to 5 %; usual is common-carp 28 to 38",
        ),
        ("limit = 12", "limit = 1", '"Tank cold" sounds at 1 C; common-carp dies at 1 C'),
        (
            'presets = ["common-carp", "nitrifying-filter"]',
            'presets = ["rainbow-trout", "nitrifying-filter", "tilapia"]',
            "no common band, temperature: no value suits all: at least 25 (tilapia) and at most 19 (rainbow-trout) C",
        ),
        (
            'loop = "nutrient solution"\npresets = ["lettuce"]\nconductivity = "line ec"',
            f'loop = "nutrient solution"\npresets = ["lettuce"]\nconductivity = "line ec"{RAFT}',
            'fish water: what lives in "tank", "raft" has no common band, temperature: no value suits all',
        ),
        ("entered = true", 'topic = "small/tank/ammonia"', "is taken as nitrogen"),
        ('mirror = "line"\n', 'mirror = "bed"\n\n[[water]]\nname = "bed"\n', "measure nothing in common"),
        (
            'oxygen = "oxygen"\n',
            'oxygen = "oxygen"\nlevel = "depth"\n',
            "neither its loss of water nor a leak",
        ),
    ],
)
def test_what_is_allowed_and_worth_a_word_is_said(old: str, new: str, words: str) -> None:
    """Each caution comes from one change, and says who or what it is about."""
    assert old in CALM
    text = CALM.replace(old, new, 1)
    if "topic" in new:
        text = text.replace('kind = "due"', 'kind = "missing"')
    if not new.strip() and "pH" in old:
        text = (
            text[: text.index('[[alarm]]\nname = "Free')] + text[text.index('[[alarm]]\nname = "Tank cold') :]
        )
    if "level" in new:
        text += '\n[[sensor]]\nname = "depth"\nquantity = "level"\nunit = "cm"\ntopic = "small/tank/depth"\n'

    assert any(words in each for each in caution(text)), caution(text)


@pytest.mark.parametrize(("fish_kg", "minutes"), [(5, None), (20, 20), (60, 6)])
def test_a_time_until_harm_that_the_fish_do_not_leave_is_pointed_at(
    fish_kg: int, minutes: int | None
) -> None:
    """20 kg in 2 m3 at 300 mg/kg/h take 3 mg/L an hour: from 4 to 3 mg/L in 20 min, where the list says 60."""
    text = CALM.replace("fish_kg = 20", f"fish_kg = {fish_kg}").replace(
        "limit = 4.0", "limit = 4.0\nharm_at = 3"
    )
    told = [each for each in caution(text) if "without air the fish of" in each]

    assert len(told) == (minutes is not None)
    assert all(
        f'says 60 min until harm; without air the fish of "tank" take {minutes} min' in each for each in told
    )


def test_fish_without_a_limit_of_their_oxygen_are_pointed_at() -> None:
    """A tank with fish whose oxygen no alarm watches: nobody knows when harm begins."""
    text = CALM.replace('oxygen = "oxygen"\n', "")
    start, end = text.index('[[alarm]]\nname = "Saturation low"'), text.index('[[alarm]]\nname = "Ammonia')

    assert any("nobody knows when harm begins" in each for each in caution(text[:start] + text[end:]))
