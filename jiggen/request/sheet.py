"""What goes on the sheet of a built jig, or on the one page for the pair in hand."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated

from jiggen import options as table
from jiggen.options import SKI, Option
from jiggen.request import options
from jiggen.request.reading import Form

if TYPE_CHECKING:
    from jiggen.record import JigRecord

SHEET_CORE = replace(
    table.CORE, help="Refused when the jig was built for another.", group=SKI, default=None
)
SHEET_BOOT = replace(
    table.BOOT,
    help="Only the page for the pair in hand, with this boot sole length: its line as a picture, "
    "the rails' readings, drill and stop, holes, screws.",
    group=table.SHEET,
    required=False,
)
SHEET_SHORT = Option(
    "short",
    "flag",
    "Only one page: as --boot, with the one boot sole length that the jig is for.",
    group=table.SHEET,
)


@dataclass(frozen=True)
class SheetRequest:
    """The options that say of which jig, for which pair and how a sheet is made; lengths in mm."""

    folder: options.FolderArgument
    paper: Annotated[options.Paper, table.PAPER]
    units: Annotated[options.Units, table.UNITS]
    ticket: Annotated[str, table.TICKET]
    plate_hole: Annotated[float | None, table.PLATE_HOLE]
    boot: Annotated[float | None, SHEET_BOOT]
    short: Annotated[bool, SHEET_SHORT]
    core: Annotated[options.Core | None, SHEET_CORE]
    measured: options.SkiInHand
    limits: options.Limits

    def content(self) -> SheetContent:
        """What it says; the jig is not verified for it.  Raises InputError and CheckFailed."""
        state, limits = self.measured.state(), self.limits.checked()

        from jiggen.drilling import SkiState
        from jiggen.record import check_usable, read_jig
        from jiggen.report.redrill import check_core, for_boot, only_boot, redrilled

        record = read_jig(self.folder)
        boot = only_boot(record) if self.short and self.boot is None else self.boot
        if self.core:
            check_core(record, self.core)
        check_usable(record)
        if state != SkiState():
            record = redrilled(record, state, limits, boot)
        used = record if boot is None else for_boot(record, boot)
        return SheetContent(self, record, used, boot)


@dataclass(frozen=True, eq=False)
class SheetContent:
    """A jig's `record` with the drilling checked for the ski in hand; `used` for one boot alone.

    `boot` is None for the whole sheet.
    """

    asked: SheetRequest
    record: JigRecord
    used: JigRecord
    boot: float | None

    @property
    def file(self) -> str:
        """The name of its file."""
        what = "sheet" if self.boot is None else f"boot-{self.boot:g}"
        return f"{self.asked.folder.resolve().name}-{what}.pdf"

    @property
    def words(self) -> tuple[str, ...]:
        """How it is printed, and what the rails read on the ski that was measured."""
        from jiggen.report.sides import about_rails

        whole = "Print it at 100 %, and check its bars with a ruler."
        return (whole if self.boot is None else "One page.", *about_rails(self.used))

    def pdf(self) -> bytes:
        """Its pages."""
        from jiggen.report.sheet import sheet_pdf

        asked = self.asked
        return sheet_pdf(
            self.record,
            paper=asked.paper,
            units=asked.units,
            ticket=asked.ticket,
            plate_hole=asked.plate_hole,
            boot=self.boot,
        )


SHEET = Form("sheet", SheetRequest)
