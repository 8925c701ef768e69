"""What is on a shelf: a print in the workshop, and what speaks against using it."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, get_args

from jiggen.errors import Finding
from jiggen.files import PATTERN_FILE
from jiggen.record import JigRecord, Record, TrialRecord

Kind = Literal["jig", "trial", "gauge"]
State = Literal["built", "printed", "measured", "in use", "retired"]
STATES: tuple[State, ...] = get_args(State)
BUSH_LIMIT = 1000.0  # holes that a bush may guide: common practice, no source
SKIS_OF_A_PAIR = 2  # each hole of a jig guides the drill once a ski


@dataclass(frozen=True)
class OwnedJig:
    """A jig, trial plate or gauge that a workshop owns, by its jig mark; lengths in mm.

    `boots` and `skis` are from and to, None where nothing of the kind counts; `pattern_sha` that
    of the pattern's text; `passed` what the last measurement of the print said, None before one;
    `pairs` how many pairs of skis were drilled with it, `earlier` of them through bushes that were
    changed since.
    """

    mark: str
    kind: Kind
    folder: Path
    pattern: str
    pattern_sha: str
    boots: tuple[float, float] | None
    skis: tuple[float, float] | None
    core: str
    side: str
    shift: float
    printer: str
    holes: int
    state: State = "built"
    passed: bool | None = None
    pairs: int = 0
    earlier: int = 0
    note: str = ""

    @property
    def drilled(self) -> int:
        """How many holes each bush has guided."""
        return (self.pairs - self.earlier) * SKIS_OF_A_PAIR

    @property
    def serves(self) -> str:
        """What it is for, in words."""
        if self.kind == "gauge":
            return "printer's gauge"
        words = [self.pattern, "boot " + _span(self.boots)]
        words += [f"ski {_span(self.skis)}"] if self.skis else []
        words += [self.side] if self.side else []
        words += [self.core] if self.core != "plain" else []
        words += [f"shift {self.shift:+g}"] if self.shift else []
        return ", ".join([*words, *(["trial plate"] if self.kind == "trial" else [])])

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON; lengths in mm."""
        return {**vars(self), "folder": str(self.folder), "drilled": self.drilled}


def _span(lengths: tuple[float, float] | None) -> str:
    return "–".join(f"{length:g}" for length in dict.fromkeys(lengths or ()))


def owned(folder: Path, record: Record, pattern_sha: str) -> OwnedJig:
    """What a shelf holds of a built folder, by its record."""
    mark, holes = record.jig_mark, len(record.holes)
    if not isinstance(record, JigRecord | TrialRecord):
        nothing = None, None, "", "", 0.0, ""
        return OwnedJig(mark, "gauge", folder, "", pattern_sha, *nothing, holes)
    inputs, boots, skis = record.inputs, None, None
    if isinstance(record, JigRecord):
        boots, ski = record.inputs.boots, record.inputs.ski
        skis = ski.least, ski.most
    return OwnedJig(
        mark=mark,
        kind="jig" if isinstance(record, JigRecord) else "trial",
        folder=folder,
        pattern=inputs.pattern,
        pattern_sha=pattern_sha,
        boots=boots or (inputs.boot, inputs.boot),
        skis=skis,
        core=inputs.core,
        side=inputs.side if inputs.pair == "mirrored" else "",
        shift=inputs.shift,
        printer=inputs.printer or "",
        holes=holes,
    )


def pattern_sha_of(record: Record) -> str:
    """The SHA-256 of the pattern's text that a folder was built by; empty of a gauge."""
    entry = record.files.get(PATTERN_FILE)
    return entry.sha256 if entry else ""


def warnings_of(jig: OwnedJig, limit: float) -> Iterator[Finding]:
    """What speaks against drilling with it; `limit` is how many holes a bush may guide."""
    where = f"jig {jig.mark}"
    if jig.state == "retired":
        yield Finding("shelf.retired", "it is retired", where=where, hint="Take another one.")
    if jig.kind != "jig":
        message = "it guides no drill: it is a " + (
            "trial plate" if jig.kind == "trial" else "gauge"
        )
        yield Finding("shelf.kind", message, where=where)
        return
    if jig.passed is False:
        hint = "Do not drill with it. Print it again, with the values that the measurement gave."
        yield Finding("shelf.failed", "its last measurement failed", where=where, hint=hint)
    elif jig.passed is None:
        hint = "Measure it first: what an unmeasured print may be off is said by its sheet."
        yield Finding("shelf.unmeasured", "it was never measured", where=where, hint=hint)
    if jig.drilled > limit:
        message = f"its bushes have guided {jig.drilled} holes each; {limit:g} are the limit"
        hint = "Change the bushes, and note that they are new."
        yield Finding("shelf.worn", message, where=where, hint=hint)
