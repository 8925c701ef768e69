"""What the sheet needs of a jig's manifest, checked: a jig that failed has no sheet."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal, Self

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    FiniteFloat,
    PositiveFloat,
    PositiveInt,
    ValidationError,
    model_validator,
)

from jiggen.errors import CheckFailed, Finding, InputError, findings_in
from jiggen.report.setting import (
    BootLayout,
    Ladder,
    Ladders,
    Setting,
    first_holes_of,
    settings_by_boot,
)
from jiggen.report.sheet.plastic import Plastic

Name = Annotated[str, Field(min_length=1, max_length=200)]
Length = Annotated[PositiveFloat, Field(allow_inf_nan=False)]
Word = Annotated[str, Field(max_length=200)]
SAME = 1e-6  # mm: the manifest and its verification both round to this
AFTER = "Build it again, and look at what jiggen check says about the folder."


class _Entry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="ignore")


class Hole(_Entry):
    """A hole in the ski frame: mm, drill diameter, depth below the top sheet."""

    id: Name
    group: Name
    x: Annotated[FiniteFloat, Field(ge=-2000, le=2000)]
    y: Annotated[FiniteFloat, Field(ge=-200, le=200)]
    diameter: Annotated[Length, Field(le=50)]
    depth: Annotated[Length, Field(le=200)]


class Guide(_Entry):
    """What guides the drill at a hole; `top_z` is where a drill's stop comes down, mm."""

    id: Name
    part: Name = "body"
    top_z: Annotated[Length, Field(le=500)]


class Skis(_Entry):
    """Narrowest and widest ski, mm."""

    least: Length
    most: Length


class Fixing(_Entry):
    """What goes into a hole: thickness under the screw's head and lengths at hand, mm."""

    plate: Annotated[FiniteFloat, Field(ge=0, le=200)]
    lengths: Annotated[tuple[Annotated[Length, Field(le=200)], ...], Field(max_length=100)]


class Inputs(_Entry):
    """What the jig was asked for; `boots` from and to, where it was a range of them.

    Of a range, `boot` is the longest: holes are listed and drawn as for it.
    """

    pattern: Name
    boot: Length
    boots: tuple[Length, Length] | None = None
    shift: FiniteFloat
    core: Literal["plain", "metal"]
    side: Literal["left", "right"]
    pair: Literal["same", "mirrored"]
    ski: Skis
    screws: dict[Name, Fixing] = {}


class Bought(_Entry):
    """A line of the shopping list; `key` is the hexagon key that turns it, mm, if any."""

    name: Name
    size: Name
    count: PositiveInt
    standard: Word
    key: PositiveFloat | None = None


class Part(_Entry):
    """A printed part."""

    name: Name
    count: PositiveInt


class Piece(_Entry):
    """A piece on a print bed."""

    part: Name


class Bed(_Entry):
    """What is printed at once."""

    pieces: tuple[Piece, ...]


class Wanted(_Entry):
    """Where the verification wanted a hole, mm."""

    x: FiniteFloat
    y: FiniteFloat


class VerifiedHole(_Entry):
    """A hole of the verification; `deviation` in mm, None where it was not found."""

    id: Name
    wanted: Wanted
    deviation: FiniteFloat | None


class Verification(_Entry):
    """The verification in the manifest."""

    passed: bool
    checks: int
    holes: tuple[VerifiedHole, ...]
    faults: tuple[dict[str, Any], ...] = ()


class Stop(_Entry):
    """How the drill is set for some holes: lengths from the stop, mm; see `jiggen.drilling`."""

    holes: Annotated[tuple[Name, ...], Field(min_length=1)]
    drill: Length
    depth: Length
    bush_top: Length
    point: Length


class DrilledHole(_Entry):
    """What the drilling check found of a hole, mm; None where the ski is not known."""

    id: Name
    base_left: FiniteFloat | None = None
    screw: Length | None = None


class Notice(_Entry):
    """Something the drilling check has to say about the holes in `key`."""

    message: Annotated[str, Field(max_length=2000)]
    key: Annotated[str, Field(max_length=20000)] = ""
    hint: Annotated[str, Field(max_length=2000)] = ""


class Drilling(_Entry):
    """The drilling check in the manifest."""

    settings: tuple[Stop, ...]
    holes: tuple[DrilledHole, ...] = ()
    errors: tuple[Notice, ...] = ()
    warnings: tuple[Notice, ...] = ()


class Accuracy(_Entry):
    """What is expected of the jig: of it, the holes' shifts for one line of difference.

    `division` holds, by hole and station, how far sideways a hole lies when that station's left
    and right readings differ by one line of the rails' scale, mm.
    """

    division: dict[Name, dict[Name, Annotated[FiniteFloat, Field(ge=0, le=50)]]] = {}


class Compensation(_Entry):
    """For which printer the parts were changed."""

    printer: Name


class Job(_Entry):
    """A verified jig as its manifest describes it."""

    versions: dict[str, str]
    inputs: Inputs
    holes: Annotated[tuple[Hole, ...], Field(min_length=1)]
    guides: tuple[Guide, ...]
    parts: Annotated[tuple[Part, ...], Field(min_length=1)]
    hardware: tuple[Bought, ...]
    beds: Annotated[tuple[Bed, ...], Field(min_length=1)]
    verification: Verification
    drilling: Drilling | None = None
    accuracy: Accuracy = Accuracy()
    plastic: Plastic | None = None
    compensation: Compensation | None = None
    ladders: tuple[Ladder, ...] = ()
    boots: tuple[BootLayout, ...] = ()

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        ids = [hole.id for hole in self.holes]
        if len(set(ids)) < len(ids):
            raise ValueError("a hole is there twice")
        if sorted(ids) != sorted(guide.id for guide in self.guides):
            raise ValueError("guides and holes do not agree")
        if self.drilling:
            self._agrees_with(self.drilling)
        if any(set(entry.x) != set(ids) for entry in self.boots):
            raise ValueError("the layouts of the boots and the holes do not agree")
        self.settings_by_boot  # noqa: B018 - raises where a boot has no line
        return self

    def _agrees_with(self, drilling: Drilling) -> None:
        tops = self.guide_top
        holes = {hole.id: (hole.diameter, hole.depth, tops[hole.id]) for hole in self.holes}
        stops = [(name, stop) for stop in drilling.settings for name in stop.holes]
        if sorted(name for name, _ in stops) != sorted(holes):
            raise ValueError("stop settings and holes do not agree")
        for name, stop in stops:
            said = (stop.drill, stop.depth, stop.bush_top)
            if any(abs(a - b) > SAME for a, b in zip(said, holes[name], strict=True)):
                raise ValueError(f"stop settings and holes do not agree about {name}")

    @property
    def guide_top(self) -> dict[str, float]:
        """Height of each hole's guide over the ski, mm, by hole id."""
        return {guide.id: guide.top_z for guide in self.guides}

    @property
    def settings_by_boot(self) -> tuple[Setting, ...]:
        """How the halves are set for each boot length; none of a jig without ladders."""
        ladders = Ladders(ladders=self.ladders, boots=self.boots)
        return settings_by_boot(ladders, self.first_holes) if self.ladders else ()

    @property
    def first_holes(self) -> dict[str, str]:
        """By part, the hole that a half's place is measured to."""
        part_of = {guide.id: guide.part for guide in self.guides}
        return first_holes_of({hole.id: part_of[hole.id] for hole in self.holes})

    @property
    def deviation(self) -> float:
        """The farthest that the verification found any hole from its place, mm."""
        return max(hole.deviation or 0.0 for hole in self.verification.holes)


def read_job(manifest: Mapping[str, Any]) -> Job:
    """The job of a built folder's manifest.

    Raises InputError ``sheet.manifest``, every fault at once, when it is no jig's manifest;
    CheckFailed ``sheet.unverified``, ``sheet.failed`` or ``sheet.changed`` unless its verification
    passed for these very holes, ``sheet.ski`` when the ski must not be drilled so.
    """
    _check_verification(manifest.get("verification"))
    try:
        job = Job.model_validate(manifest)
    except ValidationError as error:
        hint = "Name a folder that jiggen build made; build it again if it is damaged."
        raise InputError(findings_in(error, "sheet.manifest", "manifest", hint)) from error
    _check_holes(job)
    _check_ski(job)
    return job


def _check_verification(verification: Any) -> None:
    if verification is None:
        message = "this jig was never verified: there is no sheet to drill by"
        raise CheckFailed(Finding("sheet.unverified", message, key="verification", hint=AFTER))
    if not isinstance(verification, Mapping) or verification.get("passed") is not True:
        message = "this jig failed its verification: do not use it; there is no sheet to drill by"
        raise CheckFailed(Finding("sheet.failed", message, key="verification", hint=AFTER))


def _check_holes(job: Job) -> None:
    """Raise CheckFailed unless the verification found these very holes, every one."""
    verified = {hole.id: hole for hole in job.verification.holes}
    wrong = [hole.id for hole in job.holes if not _is_verified(hole, verified.get(hole.id))]
    wrong += sorted(verified.keys() - {hole.id for hole in job.holes})
    if wrong or job.verification.faults:
        about = f" about {', '.join(wrong)}" if wrong else ""
        message = f"the manifest and the verification in it do not agree{about}: it was changed"
        raise CheckFailed(Finding("sheet.changed", message, key="verification", hint=AFTER))


def _check_ski(job: Job) -> None:
    """Raise CheckFailed when the drilling check found errors: too thin a ski, say."""
    errors = job.drilling.errors if job.drilling else ()
    if errors:
        raise CheckFailed(
            Finding("sheet.ski", error.message, where="drilling", key=error.key, hint=error.hint)
            for error in errors
        )


def _is_verified(hole: Hole, verification: VerifiedHole | None) -> bool:
    if verification is None or verification.deviation is None:
        return False
    apart = max(abs(hole.x - verification.wanted.x), abs(hole.y - verification.wanted.y))
    return apart <= SAME
