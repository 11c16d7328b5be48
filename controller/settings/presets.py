"""Presets: the bands that a fish, a crop or the filter wants, each number with its source and its mark.

A preset is a TOML file, one living thing each, in a folder that the caller names. Loading reads and
validates; `compromise` is pure and works on what was loaded: the band that suits all of them, and who limits
it. Where no band suits all, that is the answer, and it is said who disagrees.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping


class Mark(Enum):
    """How well a number is founded; the value is the word used in the file."""

    PUBLISHED = "published"
    SECONDARY = "secondary"
    COMPUTED = "computed"
    FROM_MEMORY = "from memory"
    COMMON_PRACTICE = "common practice, no source"
    OUR_CHOICE = "our choice"


class Kind(Enum):
    """What a preset is for."""

    FISH = "fish"
    CROP = "crop"
    FILTER = "filter"


class Want(Enum):
    """A quantity that living things want in a band; the value is the word used in the file."""

    TEMPERATURE = "temperature"
    LETHAL_TEMPERATURE = "lethal_temperature"
    PH = "ph"
    OXYGEN = "oxygen"
    UNIONISED_AMMONIA = "unionised_ammonia"
    TOTAL_AMMONIA = "total_ammonia"
    NITRITE = "nitrite"
    NITRATE = "nitrate"
    CARBON_DIOXIDE = "carbon_dioxide"
    ALKALINITY = "alkalinity"
    LIGHT_SUM = "light_sum"
    AIR_TEMPERATURE_DAY = "air_temperature_day"
    AIR_TEMPERATURE_NIGHT = "air_temperature_night"
    HUMIDITY = "humidity"


class Demand(Enum):
    """What a living thing uses or is given; the value is the word used in the file."""

    OXYGEN_DEMAND = "oxygen_demand"
    FEED_RATE = "feed_rate"
    FEED_PROTEIN = "feed_protein"
    OXYGEN_USE = "oxygen_use"
    ALKALINITY_USE = "alkalinity_use"
    HIGHEST_REMOVAL = "highest_removal"
    FEED_RATIO = "feed_ratio"
    WATER_USE = "water_use"


UNITS: Final[dict[Want | Demand, str]] = {
    Want.TEMPERATURE: "C",
    Want.LETHAL_TEMPERATURE: "C",
    Want.PH: "pH",
    Want.OXYGEN: "mg/L",
    Want.UNIONISED_AMMONIA: "mg/L as N",
    Want.TOTAL_AMMONIA: "mg/L as N",
    Want.NITRITE: "mg/L as N",
    Want.NITRATE: "mg/L as N",
    Want.CARBON_DIOXIDE: "mg/L",
    Want.ALKALINITY: "mg/L as CaCO3",
    Want.LIGHT_SUM: "mol/m2/d",
    Want.AIR_TEMPERATURE_DAY: "C",
    Want.AIR_TEMPERATURE_NIGHT: "C",
    Want.HUMIDITY: "%",
    Demand.OXYGEN_DEMAND: "mg/kg/h",
    Demand.FEED_RATE: "% of body mass/d",
    Demand.FEED_PROTEIN: "%",
    Demand.OXYGEN_USE: "g/g N",
    Demand.ALKALINITY_USE: "g/g N",
    Demand.HIGHEST_REMOVAL: "g/m2/d",
    Demand.FEED_RATIO: "g feed/m2/d",
    Demand.WATER_USE: "L/m2/d",
}

assert set(UNITS) == set(Want) | set(Demand), "every quantity has its one unit"

EVERYONE_WANTS: Final = frozenset(
    {Want.TEMPERATURE, Want.PH, Want.OXYGEN, Want.UNIONISED_AMMONIA, Want.NITRITE, Want.NITRATE}
)
KIND_NEEDS: Final[dict[Kind, Demand]] = {
    Kind.FISH: Demand.OXYGEN_DEMAND,
    Kind.CROP: Demand.WATER_USE,
    Kind.FILTER: Demand.OXYGEN_USE,
}
assert set(KIND_NEEDS) == set(Kind), "every kind has the one demand it cannot do without"

_NAME: Final = re.compile(r"[a-z][a-z0-9-]{0,39}")
# A preset is a page of text; a file a hundred times that size is some other file.
_BYTES_MAX: Final = 100_000

Number = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-100.0, le=100_000.0)]
Sentence = Annotated[str, Field(min_length=3, max_length=300)]


class PresetRefused(ValueError):  # noqa: N818 - it names what is wrong with a file, for a person to read
    """A preset that cannot be used; the text names the file and every mistake in it."""


class _Strict(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Band(_Strict):
    """A band with one end or both, in the one unit of its quantity, and where it is from."""

    low: Number | None = None
    high: Number | None = None
    unit: Annotated[str, Field(min_length=1, max_length=40)]
    source: Sentence
    mark: Mark

    @model_validator(mode="after")
    def _has_an_end(self) -> Band:
        if self.low is None and self.high is None:
            raise ValueError("give low, high or both")
        if self.low is not None and self.high is not None and self.low > self.high:
            raise ValueError(f"low {self.low:g} is above high {self.high:g}")
        return self


class Preset(_Strict):
    """What one living thing wants and uses."""

    name: Annotated[str, Field(pattern=f"^{_NAME.pattern}$")]
    title: Sentence
    kind: Kind
    bands: dict[Want, Band]
    demands: dict[Demand, Band]

    @model_validator(mode="after")
    def _is_whole(self) -> Preset:
        missing = sorted(want.value for want in EVERYONE_WANTS - set(self.bands))
        if missing:
            raise ValueError(f"bands are missing: {', '.join(missing)}")
        if KIND_NEEDS[self.kind] not in self.demands:
            raise ValueError(f"a {self.kind.value} needs the demand {KIND_NEEDS[self.kind].value}")
        everything: list[tuple[Want | Demand, Band]] = [*self.bands.items(), *self.demands.items()]
        for quantity, band in everything:
            if band.unit != UNITS[quantity]:
                raise ValueError(f"{quantity.value} is kept in {UNITS[quantity]!r}, not {band.unit!r}")
        return self


@dataclass(frozen=True, slots=True)
class Compromise:
    """The band that suits everyone asked, and who sets its ends.

    Attributes
    ----------
    want
        The quantity.
    unit
        Unit of the ends.
    low, high
        Ends of the band [unit]; None where nobody sets one. With `low` above `high` no value suits all.
    low_by, high_by
        Names of the presets that set the end.
    """

    want: Want
    unit: str
    low: float | None
    high: float | None
    low_by: tuple[str, ...]
    high_by: tuple[str, ...]

    @property
    def empty(self) -> bool:
        """True when no value suits all."""
        return self.low is not None and self.high is not None and self.low > self.high

    def describe(self) -> str:
        """Say the band, or who disagrees, in one line."""
        low = "" if self.low is None else f"at least {self.low:g} ({', '.join(self.low_by)})"
        high = "" if self.high is None else f"at most {self.high:g} ({', '.join(self.high_by)})"
        ends = " and ".join(end for end in (low, high) if end)
        name = self.want.value.replace("_", " ")
        return f"{name}: {'no value suits all: ' if self.empty else ''}{ends} {self.unit}"


def find_folder() -> Path:
    """Find the folder of the presets that come with Duskbell: beside this module, or in a checkout under config."""
    packed = Path(__file__).parent / "preset_files"
    return packed if packed.is_dir() else Path(__file__).parents[2] / "config" / "presets"


def load_preset(name: str, *, folder: Path | None = None) -> Preset:
    """Read and validate the preset `name` from `folder`, or from those that come with Duskbell.

    Raises
    ------
    PresetRefused
        For a name that is none, a file that is missing, too long or no TOML, and for every mistake in it.
    """
    if not _NAME.fullmatch(name):
        raise PresetRefused(f"{name[:40]!r} is no name of a preset: small letters, digits and hyphens only")
    folder = find_folder() if folder is None else folder
    path = folder / f"{name}.toml"
    try:
        raw = path.read_bytes()
    except OSError as trouble:
        known = ", ".join(list_presets(folder)) or "none"
        raise PresetRefused(f"no preset {name!r} ({trouble.strerror}); there are: {known}") from None
    if len(raw) > _BYTES_MAX:
        raise PresetRefused(f"{path.name}: longer than {_BYTES_MAX} bytes")
    try:
        table = tomllib.loads(raw.decode("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as trouble:
        raise PresetRefused(f"{path.name}: {trouble}") from None
    if "name" in table:
        raise PresetRefused(f"{path.name}: the file's name is its name; leave `name` out")
    try:
        return Preset.model_validate({**table, "name": name})
    except ValidationError as trouble:
        raise PresetRefused(f"{path.name}: {_list_mistakes(trouble)}") from None


def load_presets(names: Iterable[str], *, folder: Path | None = None) -> tuple[Preset, ...]:
    """Read and validate several presets, in the order asked for."""
    return tuple(load_preset(name, folder=folder) for name in names)


def list_presets(folder: Path | None = None) -> tuple[str, ...]:
    """Name the presets that `folder` holds, or those that come with Duskbell, sorted."""
    folder = find_folder() if folder is None else folder
    return tuple(sorted(path.stem for path in folder.glob("*.toml") if _NAME.fullmatch(path.stem)))


def compromise(presets: Iterable[Preset]) -> Mapping[Want, Compromise]:
    """Find the band that suits all `presets`, per quantity that any of them names.

    Ask only those that share a water: fish water and the nutrient line have their own limits.
    """
    asked = tuple(presets)
    return {want: _meet(want, asked) for want in Want if any(want in preset.bands for preset in asked)}


def _meet(want: Want, presets: tuple[Preset, ...]) -> Compromise:
    low, low_by = _find_end(want, presets, end="low")
    high, high_by = _find_end(want, presets, end="high")
    return Compromise(want, UNITS[want], low, high, low_by, high_by)


def _find_end(
    want: Want, presets: tuple[Preset, ...], *, end: Literal["low", "high"]
) -> tuple[float | None, tuple[str, ...]]:
    ends: list[tuple[str, float]] = []
    for preset in presets:
        band = preset.bands.get(want)
        value = None if band is None else (band.low if end == "low" else band.high)
        if value is not None:
            ends.append((preset.name, value))
    if not ends:
        return None, ()
    strictest = (max if end == "low" else min)(value for _, value in ends)
    return strictest, tuple(name for name, value in ends if value == strictest)


def _list_mistakes(trouble: ValidationError) -> str:
    return "; ".join(
        f"{'.'.join(str(part) for part in mistake['loc']) or 'file'}: {mistake['msg']}"
        for mistake in trouble.errors(include_url=False)
    )
