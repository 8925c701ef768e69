"""What a survey of a plate is judged by, and the pattern that is made of it."""

from __future__ import annotations

import shlex
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from jiggen import options as table
from jiggen.errors import Finding
from jiggen.options import Option, argument, result
from jiggen.request.keeping import kept_file
from jiggen.request.reading import Form

if TYPE_CHECKING:
    from jiggen.measure.survey.examination import Examination
    from jiggen.measure.survey.read import Survey

FILE = argument("file", "path", "What you measured: a form filled in.", required=False)
LIMIT = Option(
    "limit", "length", "Largest uncertainty of a hole (95 %) allowed.", default="0.3", positive=True
)
SIGMA = Option(
    "sigma",
    "length",
    "Standard uncertainty (1 σ) of one reading; a ruler's is 0.3: then --limit 0.8.",
    positive=True,
)
OUT = replace(
    table.OUT, help="The pattern file to write, .toml.", metavar="FILE", suffix=".toml", short="o"
)
ACCEPT = result("accept", "flag", "Write the pattern despite failed checks; the file says so.")

HOLES = Option("holes", "count", "How many holes a form is for.", counts=(4, 26), default="8")


@dataclass(frozen=True)
class Judged:
    """A survey examined; `against` is why no pattern should be made of it, `warnings` the rest."""

    found: Examination
    against: tuple[Finding, ...]
    warnings: tuple[Finding, ...]

    def pattern(self, *, accept: bool) -> str | None:
        """The pattern's text; None for one that is refused unless to `accept`.

        Raises InputError where none can be made.
        """
        from jiggen.measure.survey.results import pattern_text

        return None if self.against and not accept else pattern_text(self.found, self.against)


@dataclass(frozen=True)
class SurveyRequest:
    """The options that say what is made of a survey file; lengths in mm."""

    file: Annotated[Path | None, FILE]
    limit: Annotated[float, LIMIT]
    sigma: Annotated[float | None, SIGMA]
    out: Annotated[Path | None, OUT]
    accept: Annotated[bool, ACCEPT]

    def judge(self, survey: Survey) -> Judged:
        """What `survey` says of its plate."""
        from jiggen.measure.survey.examination import examine
        from jiggen.measure.survey.findings import refusals, warnings

        found = examine(survey, self.sigma)
        return Judged(found, refusals(found, self.limit), warnings(found))


SURVEY = Form("survey", SurveyRequest)


def survey_file(name: str) -> Path:
    """Where a page keeps the survey of the plate called `name`."""
    return kept_file("surveys", name, ".toml")


def pattern_file(name: str) -> Path:
    """Where a page writes the pattern of the plate called `name`: where patterns are found."""
    return kept_file("patterns", name, ".toml")


def blank_command(holes: str) -> str:
    """The command that writes a form for so many `holes`."""
    return shlex.join(["jiggen", "survey", "--blank", "plate.toml", HOLES.flag, holes])
