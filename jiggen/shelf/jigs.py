"""What is on a shelf: a print in the workshop, and what speaks against using it."""

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, get_args

from jiggen import options
from jiggen.errors import Finding
from jiggen.files import PATTERN_FILE
from jiggen.marks import content_of
from jiggen.record import JigRecord, Record, TrialRecord

Kind = Literal["jig", "trial", "gauge"]
State = Literal["built", "printed", "measured", "in use", "retired"]
BUSH_LIMIT: int = options.BUSH_LIMIT.read(options.BUSH_LIMIT.default or "")
"""Holes that a bush may guide, where a shop has no limit of its own."""
STATES: tuple[State, ...] = get_args(State)


@dataclass(frozen=True)
class OwnedJig:
    """A jig, trial plate or gauge that a workshop owns, by its jig mark; lengths in mm.

    `boots` and `skis` are from and to, None where nothing of the kind counts; `side` is the ski of
    a mirrored pair, else empty; `pattern_sha` that of the pattern's text, `content` that of all
    that was asked for; `bushes` how many of the `holes` have a drill bush.  `passed` is what the
    last measurement of the print said, None before one, and `measured` when (UTC, ISO 8601);
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
    content: str = ""
    bushes: int = 0
    state: State = "built"
    passed: bool | None = None
    measured: str = ""
    pairs: int = 0
    earlier: int = 0
    note: str = ""

    @property
    def kind_words(self) -> str:
        """What it is, in words."""
        return "trial plate" if self.kind == "trial" else self.kind

    @property
    def drilled(self) -> int:
        """How many holes each bush has guided: one in each ski, or in that of its side alone."""
        return (self.pairs - self.earlier) * (1 if self.side else 2)

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
        more = {"folder": str(self.folder), "serves": self.serves, "drilled": self.drilled}
        return {**vars(self), **more}


def _span(lengths: tuple[float, float] | None) -> str:
    return "–".join(f"{length:g}" for length in dict.fromkeys(lengths or ()))


def owned(folder: Path, record: Record, texts: Mapping[str, str]) -> OwnedJig:
    """What a shelf holds of a built folder: by its record, and the `texts` that asked for it."""
    mark, holes = record.jig_mark, len(record.holes)
    content = hashlib.sha256(content_of(texts).encode()).hexdigest()
    bushes = sum(guide.bush is not None for guide in record.guides)
    if not isinstance(record, JigRecord | TrialRecord):
        nothing = None, None, "", "", 0.0, ""
        return OwnedJig(mark, "gauge", folder, "", "", *nothing, holes, content, bushes)
    inputs, boots, skis = record.inputs, None, None
    if isinstance(record, JigRecord):
        boots, ski = record.inputs.boots, record.inputs.ski
        skis = ski.least, ski.most
    return OwnedJig(
        mark=mark,
        kind="jig" if isinstance(record, JigRecord) else "trial",
        folder=folder,
        pattern=inputs.pattern,
        pattern_sha=hashlib.sha256(texts.get(PATTERN_FILE, "").encode()).hexdigest(),
        boots=boots or (inputs.boot, inputs.boot),
        skis=skis,
        core=inputs.core,
        side=inputs.side if inputs.pair == "mirrored" else "",
        shift=inputs.shift,
        printer=inputs.printer or "",
        holes=holes,
        content=content,
        bushes=bushes,
    )


def warnings_of(jig: OwnedJig, limit: float) -> Iterator[Finding]:
    """What speaks against drilling with it; `limit` is how many holes one bush may guide."""
    where = f"jig {jig.mark}"
    if jig.state == "retired":
        yield Finding("shelf.retired", "it is retired", where=where, hint="Take another one.")
    if jig.kind != "jig":
        message = f"it guides no drill: it is a {jig.kind_words}"
        yield Finding("shelf.no-drill", message, where=where)
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
