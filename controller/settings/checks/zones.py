"""Zones under a curtain: bands that can be meant, and one zone whose wish rules."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from controller.settings.problems import describe_unknown
from controller.settings.words import format_number, write_value

if TYPE_CHECKING:
    from collections.abc import Iterator

    from controller.core.plan.curtain import Curtain
    from controller.settings.problems import Path

MOST_ZONES: Final = 12
"""One sentence of a reason names them all; a crop more than this is no zone that anybody steers by."""

ONE_BAND: Final = (
    ("light_sum", ("crop", "low_mol_m2", "high_mol_m2")),
    ("economics", ("day_light_low_mol_m2", "day_light_high_mol_m2")),
)
"""Where the one band of a curtain without zones stands."""


def check_zones(curtain: Curtain) -> Iterator[tuple[Path, str]]:
    """Find what does not fit in the zones of a curtain, and between them and its rules."""
    yield from _check_ruler(curtain)
    if not curtain.zone:
        return
    if curtain.light_sum is None and curtain.economics is None:
        yield (
            ("zone", 0),
            "a `zone` is for a curtain that heeds the day's light; set `light_sum` or `economics`",
        )
    if len(curtain.zone) > MOST_ZONES:
        yield (
            ("zone", MOST_ZONES),
            f"it has {len(curtain.zone)} tables `zone`, at most {MOST_ZONES} are allowed",
        )
    for table, keys in ONE_BAND:
        part = getattr(curtain, table)
        for key in keys:
            if part is not None and key in part.model_fields_set:
                yield (
                    (table, key),
                    f"`{key}` is of a curtain with one band, but this one has `zone`, each with its own; leave it out",
                )
    yield from _check_each(curtain)


def _check_ruler(curtain: Curtain) -> Iterator[tuple[Path, str]]:
    names = [zone.name for zone in curtain.zone]
    if not curtain.ruling_zone:
        if len(names) > 1:
            yield (
                ("zone", 1),
                (
                    f"with {len(names)} tables `zone` it must say in `ruling_zone` whose wish rules, one of "
                    f"{', '.join(map(write_value, names[:MOST_ZONES]))}"
                ),
            )
    elif not names:
        yield ("ruling_zone",), "`ruling_zone` names a zone, but it has no table `zone`"
    elif curtain.ruling_zone not in names:
        yield (
            ("ruling_zone",),
            (
                f"`ruling_zone`: it has no `zone` {write_value(curtain.ruling_zone)}; "
                f"{describe_unknown(curtain.ruling_zone, names)}"
            ),
        )


def _check_each(curtain: Curtain) -> Iterator[tuple[Path, str]]:
    seen: set[str] = set()
    for place, zone in enumerate(curtain.zone):
        where = f"`zone` {write_value(zone.name)}"
        if not zone.name or not zone.name.isprintable():
            yield ("zone", place, "name"), f"{where}: `name` must be a text of printed characters"
        if zone.name.casefold() in seen:
            yield (
                ("zone", place, "name"),
                f"{where}: the name is used twice; each zone needs a name of its own",
            )
        seen.add(zone.name.casefold())
        if zone.low_mol_m2 >= zone.high_mol_m2:
            yield (
                ("zone", place, "low_mol_m2"),
                (
                    f"{where}: `low_mol_m2` is {format_number(zone.low_mol_m2)}, a value below `high_mol_m2` "
                    f"{format_number(zone.high_mol_m2)} [mol/m2/d] is needed"
                ),
            )
