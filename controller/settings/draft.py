"""The settings as far as they can be understood, so that all problems are found in one go.

Each table is validated by itself: a bad key in one sensor does not hide what is wrong with the others, nor
what is wrong between them.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from enum import Enum
from typing import TYPE_CHECKING, Any, Final, Generic, TypeVar, cast

from pydantic import ValidationError

from controller.core.plan.alarm import AlarmEntry
from controller.core.plan.curtain import Curtain
from controller.core.plan.part import Part
from controller.core.plan.people import CallStep, Person
from controller.core.plan.plan import Plan
from controller.core.plan.reach import Modem, Siren, Webhook
from controller.core.plan.sensor import Sensor
from controller.core.plan.site import Broker, Journal, Mail, Site
from controller.core.plan.water import Water
from controller.settings.problems import Fault, Path, describe_unknown, repairs, suggest, translate
from controller.settings.words import describe_allowed, inner_type, is_part, item_type, label, write_value

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping
    from datetime import date

P = TypeVar("P", bound=Part)


@dataclass(frozen=True, slots=True)
class Placed(Generic[P]):
    """A validated table and its place in the document.

    `unsure` are keys whose value was refused; a stand-in holds their place, so that the rest of the table can
    be looked at. Nothing may be said that hangs on one of them.
    """

    path: Path
    part: P
    unsure: frozenset[str] = frozenset()


@dataclass(slots=True)
class Draft:
    """All tables that could be validated, by section, and the names of those that could not.

    Of days before `today` nothing is asked any more; None asks of all.
    """

    placed: dict[str, list[Placed[Any]]] = field(default_factory=dict)
    names: dict[str, list[tuple[str, Path]]] = field(default_factory=dict)
    broken: set[str] = field(default_factory=set)
    nameless: set[str] = field(default_factory=set)
    today: date | None = None

    def every(self, section: str, model: type[P]) -> list[Placed[P]]:
        """Tables of one section that could be validated."""
        found = self.placed.get(section, [])
        assert all(isinstance(each.part, model) for each in found)
        return cast("list[Placed[P]]", found)

    def is_whole(self, section: str) -> bool:
        """Tell whether every table of a section could be validated."""
        return section not in self.broken

    def has_name(self, section: str, name: str) -> bool:
        """Tell whether a table of that name stands in the document, good or not.

        Where a name of the section could not be read it may be the one asked for.
        """
        return section in self.nameless or any(name == known for known, _ in self.names.get(section, []))

    def list_names(self, section: str) -> list[str]:
        """Names in a section, in the order of the document."""
        return list(dict.fromkeys(name for name, _ in self.names.get(section, [])))

    def has_section(self, section: str) -> bool:
        """Tell whether the document has a table of a section, good or not."""
        return section in self.placed or section in self.broken

    def describe_name(self, section: str, name: str) -> str:
        """Say that a name is not known in a section and which may have been meant."""
        known = self.list_names(section)
        if not known:
            return f"there is no {section} at all"
        return f"there is no {section} {write_value(name)}; {describe_unknown(name, known)}"

    @property
    def sites(self) -> list[Placed[Site]]:
        """The place, if it could be validated."""
        return self.every("site", Site)

    @property
    def brokers(self) -> list[Placed[Broker]]:
        """The broker, if it could be validated."""
        return self.every("broker", Broker)

    @property
    def journals(self) -> list[Placed[Journal]]:
        """The record, if it could be validated."""
        return self.every("journal", Journal)

    @property
    def mails(self) -> list[Placed[Mail]]:
        """The mail server, if set and validated."""
        return self.every("mail", Mail)

    @property
    def modems(self) -> list[Placed[Modem]]:
        """The modem, if set and validated."""
        return self.every("modem", Modem)

    @property
    def webhooks(self) -> list[Placed[Webhook]]:
        """The signing of webhooks, if set and validated."""
        return self.every("webhook", Webhook)

    @property
    def sirens(self) -> list[Placed[Siren]]:
        """The siren, if set and validated."""
        return self.every("siren", Siren)

    @property
    def sensors(self) -> list[Placed[Sensor]]:
        """The sensors that could be validated."""
        return self.every("sensor", Sensor)

    @property
    def curtains(self) -> list[Placed[Curtain]]:
        """The curtains that could be validated."""
        return self.every("curtain", Curtain)

    @property
    def waters(self) -> list[Placed[Water]]:
        """The bodies of water that could be validated."""
        return self.every("water", Water)

    @property
    def alarms(self) -> list[Placed[AlarmEntry]]:
        """The alarm entries that could be validated."""
        return self.every("alarm", AlarmEntry)

    @property
    def people(self) -> list[Placed[Person]]:
        """The people who could be validated."""
        return self.every("person", Person)

    @property
    def steps(self) -> list[Placed[CallStep]]:
        """The steps of the call list that could be validated."""
        return self.every("call", CallStep)

    def find_sensor(self, name: str) -> Sensor | None:
        """Sensor of that name, if all of it could be validated."""
        return next((each.part for each in self.sensors if each.part.name == name and not each.unsure), None)

    def find_person(self, name: str) -> Person | None:
        """Person of that name, if all of it could be validated."""
        return next((each.part for each in self.people if each.part.name == name and not each.unsure), None)

    def is_sure(self, fault: Fault) -> bool:
        """Tell whether a fault hangs on no refused value; a fault's text names the keys it hangs on."""
        return not any(
            key in fault.path or f"`{key}`" in fault.text
            for placed in self.placed.values()
            for each in placed
            if each.unsure and fault.path[: len(each.path)] == each.path
            for key in each.unsure
        )


SECTIONS: Final[dict[str, tuple[type[Part], bool]]] = {
    name: (item_type(key), True) if item_type(key) is not None else (inner_type(key), False)
    for name, key in Plan.model_fields.items()
}
"""Tables of the document: their model, and whether there may be several."""


def draw_up(document: Mapping[str, Any], *, lost: Collection[str] = ()) -> tuple[Draft, list[Fault]]:
    """Validate every table by itself; give what could be understood and every fault found on the way.

    `lost` names sections of which tables could not be read at all.
    """
    draft, faults = Draft(broken=set(lost), nameless=set(lost)), list[Fault]()
    spelled = repairs(Plan, document)
    for written, raw in document.items():
        section = spelled.get(written, written)
        if section not in SECTIONS:
            known = [_write_header(name) for name in SECTIONS]
            near = suggest(written, SECTIONS)
            hint = describe_unknown(near or written, list(SECTIONS) if near else known)
            faults.append(Fault((written,), f"unknown table [{written}]; {hint}"))
            continue
        if section != written:
            faults.append(
                Fault((written,), f"unknown table [{written}]; did you mean {_write_header(section)}?")
            )
            draft.broken.add(section)
        for path, table in _each_table(section, written, raw, draft=draft, faults=faults):
            _validate(section, table, path=path, draft=draft, faults=faults)
    for section, key in Plan.model_fields.items():
        if key.is_required() and section not in document and section not in spelled.values():
            faults.append(Fault((), f"table {_write_header(section)} is missing ({key.description})"))
            draft.broken.add(section)
    return draft, faults


def _write_header(section: str) -> str:
    return f"[[{section}]]" if SECTIONS[section][1] else f"[{section}]"


def _each_table(
    section: str, written: str, raw: object, *, draft: Draft, faults: list[Fault]
) -> Iterator[tuple[Path, dict[str, Any]]]:
    several = SECTIONS[section][1]
    match raw:
        case dict() if several:
            faults.append(
                Fault(
                    (written,), f"{section}: there may be several, so write [[{written}]] in double brackets"
                )
            )
            draft.broken.add(section)
            yield (written,), raw
        case dict():
            yield (written,), raw
        case list() if several:
            for index, table in enumerate(raw):
                if isinstance(table, dict):
                    yield (written, index), table
                else:
                    draft.broken.add(section)
                    faults.append(
                        Fault((written, index), f"{section}: every item must be a [[{section}]] table")
                    )
        case list():
            draft.broken.add(section)
            faults.append(
                Fault((written,), f"{section}: there is only one, so write [{section}] in single brackets")
            )
        case _:
            draft.broken.add(section)
            faults.append(
                Fault((written,), f"{section}: a table is needed here, written {_write_header(section)}")
            )


def _validate(section: str, raw: dict[str, Any], *, path: Path, draft: Draft, faults: list[Fault]) -> None:
    model = SECTIONS[section][0]
    part, error = _try(model, raw)
    unsure: frozenset[str] = frozenset()
    if error is not None:
        faults.extend(translate(error, model, raw, path=path))
        part, unsure = _guess(model, raw)
    spelled = {known: written for written, known in repairs(model, raw).items()}
    name = raw.get(spelled.get("name", "name"))
    if "name" in model.model_fields and not isinstance(name, str):
        draft.nameless.add(section)
    if isinstance(name, str):
        draft.names.setdefault(section, []).append((name.strip(), path))
    if part is None or unsure:
        draft.broken.add(section)
    if part is not None:
        faults.extend(_find_blanks(section, part, unsure, path=path))
        draft.placed.setdefault(section, []).append(Placed(path, part, unsure))


def _guess(model: type[Part], raw: Mapping[str, Any]) -> tuple[Part | None, frozenset[str]]:
    """Validate a table as it was probably meant, with stand-ins for refused values; also name those.

    Gives None where a word that decides what the other keys mean was refused. A guess is only used to look
    for further problems and is never taken into the settings.
    """
    meant = _repair(model, raw)
    part, error = _try(model, meant)
    if error is None:
        return part, frozenset()
    unsure: set[str] = set()
    for each in error.errors(include_url=False, include_context=False):
        found = _stand_in(model, meant, each["loc"])
        if found is None:
            return None, frozenset()
        unsure.add(found)
    return _try(model, meant)[0], frozenset(unsure)


def _stand_in(model: type[Part], table: dict[str, Any], loc: tuple[int | str, ...]) -> str | None:
    """Put a stand-in for a refused value into a table; gives its key, or None where none can stand in."""
    key = str(loc[0])
    info = model.model_fields[key]
    inside = inner_type(info)
    if len(loc) > 1 and is_part(inside) and isinstance(table.get(key), dict):
        return _stand_in(inside, table[key], loc[1:])
    if isinstance(inside, type) and issubclass(inside, Enum):
        return None
    if info.is_required():
        table[key] = _STAND_INS.get(inside, [])
    else:
        table.pop(key, None)
    return key


_STAND_INS: Final[dict[object, object]] = {str: "", float: 1.0, int: 1}
"""What stands in for a refused value that is needed; every range of a needed number holds 1."""


def _repair(model: type[Part], raw: Mapping[str, Any]) -> dict[str, Any]:
    """Write a table as it was probably meant: misspelled keys put right, other unknown keys gone."""
    spelled = repairs(model, raw)
    repaired: dict[str, Any] = {}
    for key, value in raw.items():
        right = spelled.get(key, key)
        if right in model.model_fields:
            inside = inner_type(model.model_fields[right])
            repaired[right] = _repair(inside, value) if is_part(inside) and isinstance(value, dict) else value
    return repaired


def _find_blanks(section: str, part: Part, unsure: frozenset[str], *, path: Path) -> Iterator[Fault]:
    for key, info in type(part).model_fields.items():
        if info.is_required() and key not in unsure and getattr(part, key) == "":
            yield Fault(
                (*path, key),
                f"{label(section, getattr(part, 'name', ''))}: `{key}` is empty, {describe_allowed(info)} "
                f"is needed ({info.description})",
            )


def _try(model: type[P], raw: Mapping[str, Any]) -> tuple[P | None, ValidationError | None]:
    try:
        return read_strictly(model, raw), None
    except ValidationError as error:
        return None, error


def read_strictly(model: type[P], raw: Mapping[str, Any]) -> P:
    """Validate a table without guessing: `"5"` is no number, `1` is no switch, a date is no text.

    JSON's rules of strictness fit a settings file (a word for an enum, a list for a tuple, a whole number
    where any number may stand), hence the detour.

    Raises
    ------
    ValidationError
        If anything in the table is wrong.
    """
    return model.model_validate_json(json.dumps(raw, default=_write_foreign), strict=True)


def _write_foreign(value: object) -> dict[str, str]:
    """Write what JSON has no form for (TOML's dates) as a table, which no key takes."""
    return {"not allowed here": type(value).__name__}
