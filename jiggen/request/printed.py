"""A printer known by its gauge, a print judged by its holes: what is asked, what comes of it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from jiggen.errors import Finding, InputError
from jiggen.options import Option, argument, result
from jiggen.request import options
from jiggen.request.reading import Form

if TYPE_CHECKING:
    from jiggen.inputs.document import Document
    from jiggen.inputs.form import Form as Table
    from jiggen.measure.printer.gauge_fit import GaugeFit
    from jiggen.measure.printer.printed import PrintedFit
    from jiggen.measure.printer.profile import Profile
    from jiggen.measure.printer.read import Measurements
    from jiggen.measure.scan.adjust import Face
    from jiggen.report.printed import Printout
    from jiggen.request.scanned import OnGlass, Scans

FILE = argument(
    "file", "path", "The file that jiggen gauge wrote, filled in.", metavar="MEASUREMENTS.toml"
)
NAME = Option(
    "name",
    "text",
    "What to call printer and material together: club-hall-petg. It replaces one of that name.",
    group="Options",
)
MATERIAL = Option(
    "material", "text", "What it was printed in.", group="Options", default="", metavar="TEXT"
)
PINS = argument(
    "file", "path", "Readings over pins in the bushes.", required=False, metavar="MEASUREMENTS.toml"
)
LIMIT = Option(
    "limit",
    "length",
    "Largest error of a hole; by default what the caliper check of the print lets pass.",
    positive=True,
)
REACH = Option(
    "caliper", "length", "For a form: ask only for what a caliper opens that far.", positive=True
)
STORED_AS = result("name", "text", "Store the corrected profile under that name, to build with it.")
_UNUSABLE = {"printer.gross-error", "printer.disagree"}  # readings that say nothing of the jig


@dataclass(frozen=True)
class JudgedGauge:
    """A gauge's readings fitted; `against` is why no profile is made, `warnings` the rest."""

    found: GaugeFit
    against: tuple[Finding, ...]
    warnings: tuple[Finding, ...]


@dataclass(frozen=True)
class FitRequest:
    """The options that say which readings make which profile."""

    file: Annotated[Path, FILE]
    name: Annotated[str | None, NAME]
    material: Annotated[str, MATERIAL]

    def check(self) -> None:
        """Raise InputError for what no profile can be called."""
        from jiggen.measure.printer.profile import check_name

        if self.name is None:
            hint = f"Say what to call printer and material together: {NAME.flag} club-hall-petg."
            raise InputError.of("cli.missing", "the profile has no name", key=NAME.flag, hint=hint)
        check_name(self.name, self.material)

    def on_glass(self, read: Measurements, scans: Scans) -> OnGlass | None:
        """What scans of the gauge's underside say of its holes, if there are any scans."""
        from jiggen.measure.printer.scanned import gauge_of

        return scans.look(gauge_of(read.features), "under") if scans.images else None

    def judge(self, read: Measurements, glass: OnGlass | None = None) -> JudgedGauge:
        """What the readings say of the printer.  Raises CheckFailed where that is too little."""
        from jiggen.measure.printer.gauge_fit import fit_gauge, refusals, warnings

        found = fit_gauge(read, glass.sighted if glass else ())
        more = glass.warnings if glass else ()
        return JudgedGauge(found, refusals(found), (*more, *warnings(found)))

    def store(self, judged: JudgedGauge) -> tuple[Profile, Path] | None:
        """The profile that the readings make, and its file; None where they are refused."""
        from jiggen.measure.printer.gauge_fit import profile_of
        from jiggen.measure.printer.profile import save_profile

        self.check()
        if judged.against:
            return None
        made = profile_of(judged.found, self.name or "", self.material)
        return made, save_profile(made)


@dataclass(frozen=True)
class JudgedPrint:
    """A finished jig's readings fitted; `made` is the profile to print it again with.

    `against` is what stands against the jig; readings that contradict make no profile.
    `warnings` are what scans leave open.
    """

    found: PrintedFit
    against: tuple[Finding, ...]
    made: Profile | None
    warnings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class PrintedRequest:
    """The options that say which readings of which jig are judged, by what; lengths in mm."""

    folder: options.FolderArgument
    file: Annotated[Path | None, PINS]
    limit: Annotated[float | None, LIMIT]
    caliper: Annotated[float | None, REACH]
    name: Annotated[str | None, STORED_AS]

    def blank(self, printout: Printout) -> str:
        """The form to fill in for that jig."""
        from jiggen.measure.printer.to_measure import blank_text

        reach = float("inf") if self.caliper is None else self.caliper
        return blank_text(printout.jig, self.limit, reach)

    def check(self) -> None:
        """Raise InputError for what no profile can be called."""
        from jiggen.measure.printer.profile import check_name

        if self.name is not None:
            check_name(self.name)

    def on_glass(self, printout: Printout, scans: Scans, face: Face) -> OnGlass | None:
        """What scans say of the jig's holes, its bodies on that `face`, if there are any scans."""
        from jiggen.measure.printer.scanned import bodies_of, rims_of

        if not scans.images:
            return None
        return scans.look(bodies_of(printout.jig), face, rims_of(printout.jig, face))

    def judge(
        self,
        printout: Printout,
        document: Document | Table | None,
        glass: OnGlass | None = None,
    ) -> JudgedPrint:
        """What readings, scans or both say of the jig.  Raises InputError for faults in them."""
        from jiggen.measure.printer import verdict
        from jiggen.measure.printer.printed import fit_printed
        from jiggen.measure.printer.read import PinReadings, printed_of

        if document:
            holes = [one.holes for one in printout.jig.rigid]
            lengths = [(one.body, one.direction) for one in printout.jig.lengths]
            read = printed_of(document, *holes, lengths=lengths)
        else:
            read = PinReadings((), source=", ".join(glass.sources) if glass else "")
        found = fit_printed(printout.jig, read, self.limit, glass.sighted if glass else ())
        against = verdict.refusals_of_print(found)
        warnings = (*(glass.warnings if glass else ()), *verdict.notes_of_print(found))
        if any(finding.code in _UNUSABLE for finding in against):
            return JudgedPrint(found, against, None, warnings)
        before = verdict.profile_then(printout.sent, printout.fits)
        made = verdict.corrected(found, before, self.name or before.name)
        return JudgedPrint(found, against, made, warnings)

    def store(self, judged: JudgedPrint) -> Path | None:
        """The file of the corrected profile, where it is to be kept under a name."""
        from jiggen.measure.printer.profile import save_profile

        return save_profile(judged.made) if judged.made and self.name else None


FIT, PRINTED = Form("profile fit", FitRequest), Form("printed", PrintedRequest)
