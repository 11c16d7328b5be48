"""The common form of every settings table and of every key in it."""

from __future__ import annotations

from typing import Any, Final

from pydantic import BaseModel, ConfigDict, Field

REQUIRED: Final = ...
"""Marks a key without a default."""


class Part(BaseModel):
    """A settings table: frozen, no unknown keys, no NaN, no guessing between types."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", allow_inf_nan=False, str_strip_whitespace=True, validate_default=True
    )


def key(
    default: object,
    doc: str,
    *,
    unit: str = "",
    restart: bool = False,
    ge: float | None = None,
    gt: float | None = None,
    le: float | None = None,
    max_length: int | None = None,
) -> Any:  # noqa: ANN401 - stands where a field of any type is declared
    """Declare a settings key with its meaning, unit, range and whether a change needs a restart.

    `default` is the value when the key is absent; `REQUIRED` (an ellipsis) makes the key mandatory.
    """
    return Field(
        default,
        description=doc,
        ge=ge,
        gt=gt,
        le=le,
        max_length=max_length,
        json_schema_extra={"unit": unit, "restart": restart},
    )
