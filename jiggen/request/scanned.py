"""Scans of printed things whose holes are known: a jig's bodies, a gauge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from jiggen.errors import Finding, InputError
from jiggen.request import options, printed
from jiggen.request import scan as table
from jiggen.request.reading import Form
from jiggen.request.scan import ScanReading, judge_scans

if TYPE_CHECKING:
    from jiggen.measure.printer.read import Measurements
    from jiggen.measure.printer.sighted import Sighted
    from jiggen.measure.scan.adjust import Face, Fitted
    from jiggen.measure.scan.files import Picture
    from jiggen.measure.scan.known import Known
    from jiggen.measure.scan.network import Distance, Sightings
    from jiggen.report.printed import Printout

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

    `against` is why the places must not be used, `warnings` what is not known; `found` is all that
    was seen, with what is left out.
    """

    fitted: Fitted
    found: Sightings
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
        from jiggen.measure.scan.files import look_at_all

        self.checked(wholes)
        return self.fit(look_at_all(self.images or [], rims), wholes, face)

    def checked(
        self, wholes: Sequence[Sequence[Known]]
    ) -> tuple[list[Distance], list[float] | None]:
        """The distances, and the turns in degrees.  Raises InputError for all faults of words."""
        names = [hole for whole in wholes for thing in whole for hole in thing.holes]
        return self._reading.checked(self.images or [], names)

    def fit(
        self, pictures: Sequence[Picture], wholes: Sequence[Sequence[Known]], face: Face
    ) -> OnGlass:
        """The same of `pictures` that were read before, by those rims."""
        from jiggen.measure.printer.scanned import sighted_of
        from jiggen.measure.scan.adjust import fit_scans
        from jiggen.measure.scan.files import refuse_twice
        from jiggen.measure.scan.known import recognise

        refuse_twice(pictures)
        distances, turns = self.checked(wholes)
        found, rough, odd, of = recognise(pictures, wholes, face, turns)
        seen, rest = found.without(self._reading.left_out)
        fitted = fit_scans(seen, rough[rest], distances, odd)
        sighted = sighted_of(fitted)
        for one in distances:
            if not any({one.first, one.second} <= {*thing.holes} for thing in sighted):
                message = f"no scan has {one.first} and {one.second} as one: they lie apart"
                hint = "Write what is read over the joint into the file of readings."
                raise InputError.of("scan.apart", message, key=DISTANCES.name, hint=hint)
        judged = judge_scans(fitted)
        each = tuple(pictures[number] for number in of)
        return OnGlass(fitted, found, each, sighted, judged.against, judged.warnings)

    @property
    def _reading(self) -> ScanReading:
        return ScanReading(self.distances, self.caliper, self.turned, self.leave_out, None)


@dataclass(frozen=True)
class ScannedPrint:
    """The options that say which jig is judged by which scans alone; lengths in mm."""

    folder: options.FolderArgument
    scans: Scans
    face: Annotated[Literal["top", "under"], FACE]
    limit: Annotated[float | None, printed.LIMIT]
    name: Annotated[str | None, printed.STORED_AS]

    @property
    def asked(self) -> printed.PrintedRequest:
        """The same as one without a file of readings."""
        return printed.PrintedRequest(self.folder, None, self.limit, None, self.name)

    def judge(
        self, printout: Printout, pictures: Sequence[Picture]
    ) -> tuple[OnGlass, printed.JudgedPrint | None]:
        """Where the jig's holes are in `pictures` and, unless they contradict, its verdict.

        Raises InputError for other pictures.
        """
        from jiggen.measure.printer.scanned import bodies_of

        glass = self.scans.fit(pictures, bodies_of(printout.jig), self.face)
        return glass, None if glass.against else self.asked.judge(printout, None, glass)


@dataclass(frozen=True)
class ScannedGauge:
    """The options that say which gauge's scans, with what its file has, make which profile."""

    fit: printed.FitRequest
    scans: Scans

    def look(self, read: Measurements, pictures: Sequence[Picture]) -> OnGlass:
        """Where the gauge's holes are in `pictures`.  Raises InputError for other pictures."""
        from jiggen.measure.printer.scanned import gauge_of

        return self.scans.fit(pictures, gauge_of(read.features), "under")


SCANNED = Form("printed", ScannedPrint)
SCANNED_GAUGE = Form("profile fit", ScannedGauge)
