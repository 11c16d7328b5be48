"""`duskbell check --sources`: every number of the presets with its source, and who limits what."""

from __future__ import annotations

import argparse
import json
import tomllib
import zipfile
from pathlib import Path

import hatchling.build
import pytest

from controller.core.plan.plan import Plan
from controller.settings.check_command import add_check
from controller.settings.load import read_settings
from controller.settings.presets import Want, find_folder, list_presets
from controller.settings.sources import find_bands, find_loop_bands, list_numbers, write_sources

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "config" / "duskbell.toml"


def check(*words: str) -> int:
    """Run the command as the command line does."""
    parser = argparse.ArgumentParser()
    add_check(parser.add_subparsers())
    args = parser.parse_args(["check", *words])
    code = args.run(args)
    assert isinstance(code, int)
    return code


def test_every_number_of_a_chosen_preset_is_told_with_source_and_mark(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Read again from the files themselves: no band and no demand of a chosen preset is left out."""
    assert check(str(DEMO), "--sources") == 0
    told = capsys.readouterr().out
    for name in ("common-carp", "nitrifying-filter", "basil", "lettuce"):
        preset = tomllib.loads((ROOT / "config" / "presets" / f"{name}.toml").read_text(encoding="utf-8"))
        assert preset["title"] in told
        for band in [*preset["bands"].values(), *preset["demands"].values()]:
            assert f"[{band['mark']}] {band['source']}" in told


def test_json_says_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    """The band of tank 1 is that of carp, filter and basil together: pH 6.5 (carp) to 7 (basil)."""
    assert check(str(DEMO), "--sources", "--json") == 0
    document = json.loads(capsys.readouterr().out)
    band = document["bands"]["tank 1"]["ph"]

    assert (band["low"], band["low_by"]) == (6.5, ["common-carp"])
    assert (band["high"], band["high_by"], band["empty"]) == (7.0, ["basil"], False)
    assert all(row["source"] and row["mark"] for row in document["numbers"])
    assert any("Tank 1 pH high" in line for line in document["outside"])


def test_each_loop_has_its_own_band() -> None:
    """Line B on nutrient solution is not asked what carp want."""
    plan = read_settings(DEMO)
    assert isinstance(plan, Plan)
    bands = find_bands(plan)

    assert all("common-carp" not in (*each.low_by, *each.high_by) for each in bands["line B"].values())
    assert any("common-carp" in (*each.low_by, *each.high_by) for each in bands["tank 1"].values())


def test_what_grows_on_fish_water_limits_it_too(capsys: pytest.CaptureFixture[str]) -> None:
    """Tanks, rafts and line A share their water: its band is at most 25 C for the lettuce, at least 20 for carp."""
    plan = read_settings(DEMO)
    assert isinstance(plan, Plan)
    (shared,) = find_loop_bands(plan).values()
    warmth = shared.bands[Want.TEMPERATURE]

    assert shared.waters == ("tank 1", "tank 2", "rafts", "line A")
    assert (warmth.low, warmth.low_by) == (20.0, ("common-carp",))
    assert (warmth.high, warmth.high_by) == (25.0, ("lettuce",))
    assert "Band that suits all in fish water (tank 1, tank 2, rafts, line A)" in write_sources(plan)
    assert check(str(DEMO), "--sources", "--json") == 0
    assert json.loads(capsys.readouterr().out)["loops"]["fish water"]["bands"]["temperature"]["high"] == 25.0


def test_a_house_without_presets_says_so() -> None:
    """No number comes from a preset, and the command says that."""
    plan = read_settings(DEMO)
    assert isinstance(plan, Plan)
    bare = plan.model_copy(update={"water": ()})

    assert list_numbers(bare) == ()
    assert "no number comes from one" in write_sources(bare)


def test_the_presets_are_found_in_a_checkout() -> None:
    """Beside no packed copy the folder of the checkout counts."""
    assert find_folder() == ROOT / "config" / "presets"


@pytest.mark.slow
def test_the_presets_are_in_the_wheel(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is built for an installation holds every preset, beside the module that looks for them."""
    monkeypatch.chdir(ROOT)
    name = hatchling.build.build_wheel(str(tmp_path))
    packed = {Path(entry) for entry in zipfile.ZipFile(tmp_path / name).namelist()}

    for preset in list_presets():
        assert Path("controller/settings/preset_files") / f"{preset}.toml" in packed
