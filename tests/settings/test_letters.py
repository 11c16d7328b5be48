"""Scripts that a text message cannot show: refused where texts are sent, said once where none are."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.core.alarms.septets import find_unwritable
from controller.core.plan.plan import Plan
from controller.settings.cautions import find_cautions
from controller.settings.load import load_settings

GOOD = (Path(__file__).parent / "good.toml").read_text(encoding="utf-8")
PLACE = 'name = "oxygen"\nquantity = "oxygen"'
assert GOOD.count(PLACE) == 1
GREEK = "\u03b4\u03b5\u03be\u03b1\u03bc\u03b5\u03bd\u03ae"  # tank
RUSSIAN = "\u0421\u0430\u0434"  # garden


def by_text(text: str) -> str:
    """Let emergencies go by text message."""
    text = text.replace(
        'email = "keeper@example.org"', 'email = "keeper@example.org"\nphone = "+447700900123"'
    )
    text = text.replace(
        'people = ["keeper", "deputy"]', 'people = ["keeper", "deputy"]\nways = ["text", "email"]'
    )
    return text + '\n[modem]\ndevice = "/dev/ttyUSB0"\n'


def load(text: str, folder: Path = Path()) -> Plan | list[str]:
    """Load a text: the plan, or its problems as they are printed."""
    loaded = load_settings(text, file_name=str(folder / "house.toml"))
    return loaded if isinstance(loaded, Plan) else [str(problem) for problem in loaded]


@pytest.mark.parametrize(
    ("text", "lost"),
    [
        # 3GPP TS 23.038, 6.2.1: the table has these Greek capitals, and an accent only on some Latin letters.
        ("\u0394\u03a9 \u00e9\u00f1\u00fc \u20ac", ""),
        ("Kr\u00e1l\u00edk \u0151 21 \u00b0C \u2013 ok?", ""),
        ("\uff1f", ""),
        (RUSSIAN, RUSSIAN),
        ("pump \U0001f41f\U0001f41f off", "\U0001f41f"),
    ],
)
def test_signs_without_a_likeness_are_found(text: str, lost: str) -> None:
    """Accents and typographic signs have one; other scripts and pictures have none."""
    assert find_unwritable(text) == lost


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        ('name = "Oxygen low"', f'name = "{RUSSIAN}"', "`name`"),
        ('action = "Start the spare air pump."', f'action = "{RUSSIAN}."', "`action`"),
        (PLACE, f'{PLACE}\nplace = "{RUSSIAN}"', "`place`"),
    ],
)
def test_a_script_that_texts_cannot_show_is_refused_with_its_line(old: str, new: str, key: str) -> None:
    """The line is that of the key, and the signs are named."""
    text = by_text(GOOD.replace(old, new))
    line = next(number for number, each in enumerate(text.splitlines(), 1) if RUSSIAN in each)
    told = load(text)

    assert isinstance(told, list), "it must not load"
    assert any(f":{line}: " in each and key in each and f'("{RUSSIAN}")' in each for each in told), told


def test_the_name_of_a_person_counts_too() -> None:
    """It stands in the messages to the others."""
    told = load(by_text(GOOD).replace('"keeper"', f'"{RUSSIAN}"'))

    assert isinstance(told, list)
    assert any("person" in each and "question marks" in each for each in told), told


def test_what_goes_by_mail_alone_is_only_a_caution_and_said_once() -> None:
    """Mails show every script, so nothing is refused; two such names are one caution."""
    text = GOOD.replace('name = "Oxygen low"', f'name = "{RUSSIAN}"').replace(
        '"Check the breaker."', f'"{RUSSIAN}"'
    )
    plan = load(text)
    assert isinstance(plan, Plan), plan
    told = [fault.text for fault in find_cautions(plan) if "question marks" in fault.text]

    assert len(told) == 1
    assert told[0].endswith("(and 1 more such); nothing goes by text message yet")


def test_an_alarm_that_never_goes_by_text_may_have_any_script() -> None:
    """Emergencies go by text here, and what is for today by mail."""
    assert isinstance(load(by_text(GOOD.replace('"Check the breaker."', f'"{RUSSIAN}"'))), Plan)


@pytest.mark.parametrize(("phrase", "good"), [("emergency", False), ("page_well", True)])
def test_a_catalogue_in_another_script_is_refused_where_it_is_texted(
    tmp_path: Path, phrase: str, *, good: bool
) -> None:
    """What stands on the page alone may be in any script."""
    (tmp_path / "phrases.toml").write_text(f'{phrase} = "{GREEK}"\n', encoding="utf-8")
    text = by_text(GOOD).replace('id = "small-house"', 'id = "small-house"\nlanguage_file = "phrases.toml"')
    told = load(text, tmp_path)

    assert isinstance(told, Plan) is good, told
    assert good or any(f"the phrase `{phrase}` of `language_file`" in each for each in load_list(told)), told


def load_list(told: Plan | list[str]) -> list[str]:
    """Return problems as a list; none of a plan."""
    return [] if isinstance(told, Plan) else told
