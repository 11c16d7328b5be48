"""The commented settings file shows every key there is, and what it says of a key is true."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import annotated_types
import pytest
from pydantic import TypeAdapter
from pydantic.fields import FieldInfo

from controller.core.plan.part import Part
from controller.core.plan.plan import Plan
from controller.settings.cautions import find_cautions
from controller.settings.load import read_settings
from controller.settings.words import describe_key, inner_type, is_part, item_type

FILE = Path(__file__).parents[2] / "config" / "duskbell.toml"
ROWS = FILE.read_text(encoding="utf-8").split("\n")
HEADER = re.compile(r"(?:# )?\[\[?([a-z_.]+)\]\]?")
KEY = re.compile(r"(# )?([a-z_0-9]+) = (.+)")


def find_model(field: FieldInfo) -> Any:  # noqa: ANN401 - the type of a key may be any
    """Find the type of a key, or of the items of a list."""
    return item_type(field) or inner_type(field)


def list_models() -> dict[str, type[Part]]:
    """List every table of the document with its model, by the name that stands in its header."""
    models: dict[str, type[Part]] = {}
    for section, field in Plan.model_fields.items():
        model = find_model(field)
        models[section] = model
        models |= {
            f"{section}.{key}": find_model(inside)
            for key, inside in model.model_fields.items()
            if is_part(find_model(inside))
        }
    return models


def read_comments() -> dict[tuple[str, str], tuple[str, str, bool]]:
    """Read the first mention of each key: the comment above it, its value, and whether it is in force."""
    table, comment = "", list[str]()
    found: dict[tuple[str, str], tuple[str, str, bool]] = {}
    for row in ROWS:
        header, key = HEADER.fullmatch(row), KEY.fullmatch(row)
        if header is not None:
            table, comment = header[1], []
        elif key is not None and table:
            found.setdefault((table, key[2]), (" ".join(comment), key[3], key[1] is None))
            comment = []
        elif row.startswith("# "):
            comment.append(row[2:])
        else:
            comment = []
    return found


MODELS = list_models()
COMMENTS = read_comments()
FIELDS = {
    (table, key): field
    for table, model in MODELS.items()
    for key, field in model.model_fields.items()
    if not is_part(find_model(field))
}


def test_the_file_is_good_and_calls_for_no_caution() -> None:
    """The file loads without a problem, and the check has nothing to add."""
    plan = read_settings(FILE)
    assert isinstance(plan, Plan), "\n".join(map(str, plan))
    assert find_cautions(plan) == ()


def test_the_house_is_the_invented_one() -> None:
    """The file describes the invented teaching glasshouse: its place, its one curtain, its sensors."""
    plan = read_settings(FILE)
    assert isinstance(plan, Plan)
    site = plan.site
    assert (
        site.latitude_deg,
        site.longitude_deg,
        site.elevation_m,
        site.time_zone,
    ) == (54.0, -1.0, 15.0, "Europe/London")
    assert [curtain.name for curtain in plan.curtain] == ["main"]
    assert [person.name for person in plan.person] == ["keeper", "deputy", "porter"]
    assert len(plan.sensor) >= 20


def test_every_table_stands_in_the_file() -> None:
    """Each table of the settings has its header in the file, in force or not."""
    headers = {header[1] for row in ROWS if (header := HEADER.fullmatch(row)) is not None}
    assert set(MODELS) == headers


def test_no_key_is_left_out_and_none_is_invented() -> None:
    """The keys that stand in the file, in force or not, are exactly the keys of the models."""
    assert set(FIELDS) == set(COMMENTS)


@pytest.mark.parametrize(("table", "key"), FIELDS, ids=[".".join(each) for each in FIELDS])
def test_a_key_is_explained_by_meaning_range_unit_default_and_restart(table: str, key: str) -> None:
    """The comment above a key says its meaning, range with unit, default, and whether it needs a restart."""
    field, (comment, value, in_force) = FIELDS[table, key], COMMENTS[table, key]
    assert describe_key(field) in comment
    extra: Any = field.json_schema_extra
    assert not extra["unit"] or f"[{extra['unit']}]" in comment
    assert ("A change needs a restart." in comment) == extra["restart"]
    assert ("Required." in comment) == field.is_required()
    for rule in field.metadata:
        if isinstance(rule, annotated_types.Ge | annotated_types.Le):
            bound = rule.ge if isinstance(rule, annotated_types.Ge) else rule.le
            assert f" {bound:g}" in comment
    if not in_force and not field.is_required() and field.default not in {None, ""}:
        shown = tomllib.loads(f"value = {value}")["value"]
        assert field.default == TypeAdapter(field.annotation).validate_python(shown), "shows its default"


def test_tables_below_a_curtain_are_explained_where_they_would_stand() -> None:
    """The tables of rules are announced in the curtain's own table."""
    text = " ".join(row.removeprefix("# ") for row in ROWS)
    for key, field in MODELS["curtain"].model_fields.items():
        if is_part(find_model(field)):
            assert describe_key(field) in text
            header = f"[[curtain.{key}]]" if item_type(field) else f"[curtain.{key}]"
            assert {header, f"# {header}"} & set(ROWS)


def test_no_word_of_the_file_is_outside_plain_text() -> None:
    """The file is plain ASCII without tabs and with lines of at most 110 characters."""
    assert "\n".join(ROWS).isascii()
    assert max(map(len, ROWS)) <= 110 or all(" = " in row for row in ROWS if len(row) > 110)
    assert "\t" not in "".join(ROWS)
