"""What checks are noted in while a verification is made, and its words once it is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from jiggen.errors import printable
from jiggen.outcome import Fault, HoleCheck, MadeFor, PegCheck, Verification
from jiggen.units import counted

HEAD = ("hole", "wanted x, y", "found in STEP", "found in STL", "deviation")
NOTHING = "not found"
FRAME = "x from the mounting mark to the tip, y from the centre line to the left, in mm."
MOST_NAMES = 8  # shown


@dataclass
class Ledger:
    """Collects checks while a verification is made; never stops at the first that fails.

    `checked` counts them by what they are of: `what`, from when it is set.  `strange` files are
    named, and no fault.
    """

    what: str = "files"
    checked: Counter[str] = field(default_factory=Counter)
    faults: list[Fault] = field(default_factory=list)
    strange: list[str] = field(default_factory=list)

    @property
    def checks(self) -> int:
        """How many checks were made."""
        return self.checked.total()

    def add(self, other: Ledger) -> None:
        """Add what was noted in another."""
        self.checked += other.checked
        self.faults += other.faults
        self.strange += other.strange

    def about(self, source: str, name: str) -> Subject:
        """A hole, part, piece or file to check, as seen in the file or format `source`."""
        return Subject(self, source, name)


@dataclass(frozen=True)
class Subject:
    """What checks are about, a hole, part, piece or file, as seen in one file or format."""

    ledger: Ledger
    source: str
    name: str

    def expect(
        self,
        holds: bool,
        code: str,
        message: str,
        found: float | None = None,
        wanted: float | None = None,
        limit: float | None = None,
        unit: str = "",
    ) -> bool:
        """Count a check, and keep the fault with these numbers unless it holds."""
        self.ledger.checked[self.ledger.what] += 1
        if not holds:
            self.ledger.faults.append(
                Fault(code, self.source, self.name, message, found, wanted, limit, unit)
            )
        return holds

    def within(
        self, found: float, wanted: float, limit: float, code: str, message: str, unit: str = "mm"
    ) -> bool:
        """Count a check that `found` is no farther than `limit` from `wanted`, all in `unit`."""
        holds = bool(abs(found - wanted) <= limit)
        return self.expect(holds, code, message, found, wanted, limit, unit)

    def fail(self, code: str, message: str) -> None:
        """Count a check that failed."""
        self.expect(False, code, message)


def table(verification: Verification) -> str:
    """Whose holes; columns id, wanted, found in STEP, found in STL, deviation (mm, ski frame)."""
    head = ("hole or peg", *HEAD[1:]) if verification.pegs else HEAD
    rows = [head, *map(_cells, verification.measured)]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    rows.insert(1, tuple("-" * width for width in widths))
    lines = [
        "  ".join((row[0].ljust(widths[0]), *map(str.rjust, row[1:], widths[1:]))) for row in rows
    ]
    whose = f"Holes for {printable(verification.whose)}; " if verification.whose else ""
    return "\n".join((f"{whose}{FRAME}", "", *lines))


def _ladder_lines(verification: Verification) -> Iterator[str]:
    """A line for each part with a ladder."""
    for part in dict.fromkeys(boot.part for boot in verification.ladders):
        mine = [boot for boot in verification.ladders if boot.part == part]
        lost = [boot for boot in mine if boot.deviation is None]
        worst = max((boot.deviation or 0.0 for boot in mine), default=0.0)
        found = f"{len(lost)} without a line" if lost else "each with its line"
        ends = [boot.end for boot in mine if boot.end is not None]
        if ends:
            found += f", {max(ends):.2f} mm above the ski at most"
        yield (
            f"Ladder of {printable(part)}: boots {mine[0].boot:g} to {mine[-1].boot:g}, "
            f"{len(mine)} lengths, {found}; with it on the mark the farthest hole is "
            f"{worst:.3f} mm off"
        )


def _cells(item: HoleCheck | PegCheck) -> tuple[str, ...]:
    points = (
        f"{at.x + 0.0:9.3f} {at.y + 0.0:8.3f}" if at else NOTHING
        for at in (item.wanted, item.step, item.stl)
    )
    return (printable(item.id), *points, "-" if item.deviation is None else f"{item.deviation:.3f}")


def verdict(verification: Verification) -> str:
    """Whether the files hold, what was looked at and what was not, or one line per fault."""
    faults, made_for = verification.faults, _made_for(verification.made_for)
    if verification.passed:
        pegs = f" and {counted(len(verification.pegs), 'peg')}" if verification.pegs else ""
        holes, checks = len(verification.holes), verification.checks
        whose = f" for {printable(verification.whose)}" if verification.whose else ""
        lines = [
            f"Files verified: {counted(holes, 'hole')}{pegs}{whose}; {counted(checks, 'check')}, "
            f"the farthest {'of them' if pegs else 'hole'} is "
            f"{verification.deviation:.3f} mm from where it should be.",
            *_ladder_lines(verification),
            scope(verification),
            f"{made_for}{_beside(verification)}",
        ]
        return "\n".join(lines)
    lines = [
        f"Verification FAILED: do not use this jig. {len(faults)} of {verification.checks} checks:",
        *(f"  {printable(str(fault))}  [{fault.code}]" for fault in faults),
        *_ladder_lines(verification),
        f"{made_for}{_beside(verification)}",
    ]
    return "\n".join(lines)


def _beside(verification: Verification) -> str:
    """A line on what lies beside the files, if there is anything."""
    if not (names := verification.strange):
        return ""
    more = f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
    shown = ", ".join(map(printable, names[:MOST_NAMES]))
    return f"\nYour own, not verified: {shown}{more}."


def scope(verification: Verification) -> str:
    """What was verified, by how many checks, and what never is."""
    looked = ", ".join(f"{what} ({count})" for what, count in verification.checked.items())
    seen = f"Checks, by what was looked at: {looked}. " if looked else ""
    return f"{seen}Not verified: what comes off the printer. No print was measured."


def _made_for(done: MadeFor | None) -> str:
    """For which printer the files are, and what was done to them for it."""
    if done is None:
        return "Made for no printer in particular: the files have the parts' own sizes."
    return (
        f"Made for printer {printable(done.printer)} alone: its files are {done.x:+.2f} % longer "
        f"along x, {done.y:+.2f} % along y, {done.z:+.2f} % in height, skewed by {done.skew:+.2f}°."
    )
