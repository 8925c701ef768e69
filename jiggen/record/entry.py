"""What every entry of a record is: frozen, of finite numbers, with names of bounded length."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from jiggen.errors import Finding
from jiggen.files import inner_path

LONGEST_NOTE = 20_000  # characters


class Entry(BaseModel):
    """Base of all parts of a record; keys it does not know are left out."""

    model_config = ConfigDict(frozen=True, extra="ignore", allow_inf_nan=False)


def _bounded(finding: Finding) -> Finding:
    if any(len(text) > LONGEST_NOTE for text in finding.as_dict().values()):
        raise ValueError(f"a note of more than {LONGEST_NOTE} characters")
    return finding


Name = Annotated[str, Field(min_length=1, max_length=200)]
Word = Annotated[str, Field(max_length=200)]
Text = Annotated[str, Field(max_length=2000)]
Inside = Annotated[str, AfterValidator(inner_path)]
"""A file's path within the folder."""

Length = Annotated[float, Field(gt=0)]
Least = Annotated[float, Field(ge=0)]
Share = Annotated[int, Field(ge=0, le=100)]
Count = Annotated[int, Field(gt=0)]
Note = Annotated[Finding, AfterValidator(_bounded)]

Point = tuple[float, float, float]
Coefficient = Annotated[float, Field(ge=-1e6, le=1e6)]
MatrixRow = tuple[Coefficient, Coefficient, Coefficient, Coefficient]
Matrix = tuple[MatrixRow, MatrixRow, MatrixRow, MatrixRow]
"""A rigid pose, row by row, mm."""
