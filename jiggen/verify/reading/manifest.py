"""The manifest as the verification reads it: what the files are stated to hold."""

import math
from collections import Counter
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, ValidationError, model_validator

from jiggen.errors import Finding, InputError, key_path
from jiggen.files import MANIFEST, within
from jiggen.inputs.faults import in_words
from jiggen.outcome import Name, Word
from jiggen.verify.reading.bodies import MOST_FASTENERS, BodyShape, Fastener
from jiggen.verify.reading.engraved import Engraved
from jiggen.verify.reading.entries import (
    MOST_PARTS,
    NOTHING_DONE,
    Bed,
    BootLayout,
    Bought,
    ClampMark,
    Compensation,
    Entry,
    Expected,
    FileEntry,
    FitSizes,
    Guide,
    Hole,
    IndexLine,
    Inputs,
    Inside,
    LadderEntry,
    Opening,
    Part,
    Peg,
    PrintLength,
    Reach,
    Station,
)

MOST_HOLES = 500  # far more than any jig has; each is measured
LARGEST = 16 * 1024 * 1024  # bytes
# Values in it: a jig for 81 boots has a third of that.  Each that is wrong is a fault to find.
MOST_VALUES = 35_000
MOST_FAULTS = 100  # shown
TOO_MANY = f"holds more than {MOST_VALUES} values: no record of a jig has so many"
HINT = "Name a folder that jiggen build made; build it again if it is damaged."


class Manifest(Entry):
    """A jig's manifest, format 2; keys the verification has no use for are left alone."""

    manifest: Literal[2]
    kind: Literal["jig", "trial", "gauge"] = "jig"
    jig_mark: Word = ""
    asked: dict[str, str | None] | None = None
    inputs: Inputs
    stated: Annotated[dict[str, Any], Field(validation_alias="inputs")]
    drilling: dict[str, Any] | None = None
    holes: Annotated[tuple[Hole, ...], Field(min_length=1, max_length=MOST_HOLES)]
    guides: tuple[Guide, ...]
    openings: tuple[Opening, ...] = ()
    pegs: Annotated[tuple[Peg, ...], Field(max_length=MOST_HOLES)] = ()
    bodies: Annotated[tuple[BodyShape, ...], Field(max_length=MOST_PARTS)] = ()
    hardware: Annotated[tuple[Bought, ...], Field(max_length=MOST_HOLES)] = ()
    fasteners: Annotated[tuple[Fastener, ...], Field(max_length=MOST_FASTENERS)] = ()
    clamps: Annotated[tuple[ClampMark, ...], Field(max_length=MOST_PARTS)] = ()
    engraved: Annotated[tuple[Engraved, ...], Field(max_length=2 * MOST_PARTS)] = ()
    left_out: dict[Name, tuple[str, ...]] = Field(default_factory=dict)
    fits: FitSizes | None = None
    ladders: Annotated[tuple[LadderEntry, ...], Field(max_length=MOST_PARTS)] = ()
    boots: tuple[BootLayout, ...] = ()
    index_lines: Annotated[tuple[IndexLine, ...], Field(max_length=MOST_PARTS)] = ()
    print_check: Annotated[tuple[PrintLength, ...], Field(max_length=2 * MOST_PARTS)] = ()
    parts: Annotated[tuple[Part, ...], Field(min_length=1, max_length=MOST_PARTS)]
    beds: Annotated[tuple[Bed, ...], Field(max_length=MOST_PARTS)]
    stations: Annotated[tuple[Station, ...], Field(max_length=MOST_PARTS)] = ()
    accuracy: Expected | None = None
    files: dict[Inside, FileEntry]
    verification: dict[str, object] | None = None
    compensation: Compensation | None = None

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        for what, names in {
            "hole": [hole.id for hole in self.holes],
            "guide": [guide.id for guide in self.guides],
            "peg": [peg.id for peg in self.pegs],
            "part": [part.name for part in self.parts],
            "file of a part": [part.file for part in self.parts],
            "bed": [bed.file for bed in self.beds],
            "piece": [placed.name for part in self.parts for placed in part.placed],
            "part with a ladder": [ladder.part for ladder in self.ladders],
            "shape of a body": [shape.part for shape in self.bodies],
        }.items():
            for name, count in Counter(names).items():
                if count > 1:
                    raise ValueError(f"{what} {name!r} is there twice")
        odd = {guide.id for guide in self.guides} ^ {hole.id for hole in self.holes}
        if odd:
            raise ValueError(f"guides and holes do not agree on {', '.join(sorted(odd))}")
        bodies = {part.name for part in self.parts if part.is_body}
        features: tuple[Guide | Opening | Peg | PrintLength | ClampMark | BodyShape, ...]
        features = (*self.guides, *self.openings, *self.pegs, *self.print_check, *self.clamps)
        features += self.bodies
        for name in (feature.part for feature in features):
            if name not in bodies:
                raise ValueError(f"{name!r} is not a body among the parts")
        parts = {part.name for part in self.parts}
        for face in self.engraved:
            if face.part not in parts:
                raise ValueError(f"engravings on {face.part!r}, which is not among the parts")
        if self.ladders:
            self._ladders_agree(bodies)
        for part in self.parts:
            if part.count != len(part.placed):
                raise ValueError(f"part {part.name}: count {part.count}, {len(part.placed)} placed")
        return self

    def _ladders_agree(self, bodies: set[str]) -> None:
        """A line for every whole boot length that was asked for, on every part with a ladder."""
        if self.inputs.boots is None:
            raise ValueError("ladders, but no range of boots was asked for")
        least, most = self.inputs.boots
        asked = {float(boot) for boot in range(math.ceil(least), math.floor(most) + 1)}
        if {entry.boot for entry in self.boots} != asked or len(self.boots) != len(asked):
            raise ValueError("the layouts are not those of every boot length that was asked for")
        ids = {hole.id for hole in self.holes}
        for entry in self.boots:
            if set(entry.x) != ids:
                raise ValueError(f"boot {entry.boot:g}: its layout has other holes")
        for ladder in self.ladders:
            if ladder.part not in bodies & {guide.part for guide in self.guides}:
                raise ValueError(f"a ladder on {ladder.part!r}, which is not a body with holes")

    @cached_property
    def guided(self) -> tuple[tuple[Hole, Guide], ...]:
        """Every hole with its guide."""
        guides = {guide.id: guide for guide in self.guides}
        return tuple((hole, guides[hole.id]) for hole in self.holes)

    @property
    def reach(self) -> Reach | None:
        """The skis that the parts are stated to serve."""
        return self.accuracy.moving.reach if self.accuracy else None

    @property
    def done(self) -> Compensation:
        """What was done to the printed files."""
        return self.compensation or NOTHING_DONE


def read_manifest(folder: Path) -> Manifest:
    """Read and check a folder's manifest.

    Raises InputError, every fault at once, when it is missing or not a jiggen manifest.
    """
    try:
        data = within(folder, MANIFEST, LARGEST).read_bytes()
        if data.count(b",") > MOST_VALUES:
            raise InputError.of(
                "verify.manifest", TOO_MANY, where=str(folder / MANIFEST), hint=HINT
            )
        return Manifest.model_validate_json(data)
    except OSError as error:
        found = [(f"cannot read the manifest: {error.strerror or error}", "")]
    except ValidationError as error:
        faults = error.errors(include_url=False, include_context=False, include_input=False)
        found = [(in_words(fault["msg"]), key_path(fault["loc"])) for fault in faults[:MOST_FAULTS]]
    where = str(folder / MANIFEST)
    raise InputError(Finding("verify.manifest", text, where, key, HINT) for text, key in found)
