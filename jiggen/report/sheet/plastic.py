"""The plastic part of a jig's manifest, checked as the sheet needs it."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, NonNegativeFloat, PositiveFloat, PositiveInt

Mass = Annotated[NonNegativeFloat, Field(allow_inf_nan=False)]
Length = Annotated[PositiveFloat, Field(allow_inf_nan=False)]


class _Entry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="ignore")


class PrintedPart(_Entry):
    """A part's pieces: volume in mm³ and mass in g of each, solid and printed at `infill` %."""

    name: Annotated[str, Field(min_length=1, max_length=200)]
    count: PositiveInt
    infill: Annotated[int, Field(ge=0, le=100)]
    volume: Mass
    solid: Mass
    printed: Mass


class Plastic(_Entry):
    """The plastic part of a manifest; lines and full layers in mm, density in g/cm³."""

    name: Annotated[str, Field(min_length=1, max_length=40)]
    density: Length
    walls: PositiveInt
    line: Length
    skin: Length
    parts: tuple[PrintedPart, ...]
    solid: Mass
    printed: Mass
    advice: tuple[Annotated[str, Field(max_length=2000)], ...] = ()
