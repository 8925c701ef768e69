"""Scans of printed things whose holes are known: a jig's bodies, a gauge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from jiggen.errors import Finding, InputError
from jiggen.request import scan as table
from jiggen.request.scan import ScanReading, judge_scans

if TYPE_CHECKING:
    from jiggen.measure.printer.sighted import Sighted
    from jiggen.measure.scan.adjust import Face, Fitted
    from jiggen.measure.scan.files import Picture
    from jiggen.measure.scan.known import Known

IMAGES = replace(
    table.IMAGES_OPTION,
    help="A scan in place of the caliper; best four of one scanner, turned by a quarter each.",
)
DISTANCES = replace(
    table.DISTANCES,
    help="A caliper distance between two holes by their names, which gives the scale of all "
    "scans: of the bare holes, or their centres over pins, less the pins.",
    metavar="HOLE-HOLE:outside=MM",
)
TURNED = replace(
    table.TURNED,
    help="By how many degrees the x axis was turned in each scan, where it looks alike: "
    "0,90,180,270.",
)
FACE = replace(
    table.FACE,
    help="The face of the bodies on the glass: top, where the bushes go in, or under.",
    default="top",
)


@dataclass(frozen=True, eq=False)
class OnGlass:
    """What scans say of printed things, all together; `pictures` has one for each of its scans.

    `against` is why the places must not be used, `warnings` what is not known.
    """

    fitted: Fitted
    pictures: tuple[Picture, ...]
    sighted: tuple[Sighted, ...]
    against: tuple[Finding, ...]
    warnings: tuple[Finding, ...]

    @property
    def sources(self) -> list[str]:
        """The pictures' names, each once."""
        return [*dict.fromkeys(self.fitted.seen.sources)]


@dataclass(frozen=True)
class Scans:
    """The options that say which scans show printed things, and their scale; lengths in mm."""

    images: Annotated[list[Path] | None, IMAGES]
    distances: Annotated[list[str] | None, DISTANCES]
    caliper: Annotated[float, table.CALIPER]
    turned: Annotated[str | None, TURNED]
    leave_out: Annotated[str | None, table.LEAVE_OUT]

    def look(
        self, wholes: Sequence[Sequence[Known]], face: Face, rims: Sequence[float] = ()
    ) -> OnGlass:
        """Where the holes of the things are, by those `rims`.

        Raises InputError for other pictures.
        """
        from jiggen.measure.printer.scanned import sighted_of
        from jiggen.measure.scan.adjust import fit_scans
        from jiggen.measure.scan.files import look_at_all
        from jiggen.measure.scan.known import recognise

        images = self.images or []
        reading = ScanReading(self.distances, self.caliper, self.turned, self.leave_out, None)
        names = [hole for whole in wholes for thing in whole for hole in thing.holes]
        distances, turns = reading.checked(images, names)
        pictures = look_at_all(images, rims)
        found, rough, odd, of = recognise(pictures, wholes, face, turns)
        seen, rest = found.without(reading.left_out)
        fitted = fit_scans(seen, rough[rest], distances, odd)
        sighted = sighted_of(fitted)
        for one in distances:
            if not any({one.first, one.second} <= {*thing.holes} for thing in sighted):
                message = f"no scan has {one.first} and {one.second} as one: they lie apart"
                hint = "Write what is read over the joint into the file of readings."
                raise InputError.of("scan.apart", message, key=DISTANCES.name, hint=hint)
        judged = judge_scans(fitted)
        each = tuple(pictures[number] for number in of)
        return OnGlass(fitted, each, sighted, judged.against, judged.warnings)
