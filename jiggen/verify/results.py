"""What a verification finds, and its words: every fault with its numbers, where each hole is."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from jiggen.errors import Finding
from jiggen.verify import limits

if TYPE_CHECKING:
    from jiggen.verify.printing import PartPrinting

DIGITS = 6  # a nanometre
HEAD = ("hole", "wanted x, y", "found in STEP", "found in STL", "deviation")
BOOT_HEAD = ("ladder of", "boot", "line in STEP", "line in STL", "deviation")
NOTHING = "not found"


@dataclass(frozen=True)
class Fault:
    """One failed check.

    `code` is stable (``verify.moved``); `source` is the file or the format it was seen in;
    `subject` the hole, part, piece or file it is about; `found`, `wanted` and `limit` are its
    numbers where it has any, in `unit`.
    """

    code: str
    source: str
    subject: str
    message: str
    found: float | None = None
    wanted: float | None = None
    limit: float | None = None
    unit: str = ""

    def __str__(self) -> str:
        return f"{self.source}: {self.subject}: {self.message}"

    def as_dict(self) -> dict[str, object]:
        """The fault as plain values, floats rounded to DIGITS."""
        return {entry.name: rounded(getattr(self, entry.name)) for entry in fields(self)}

    def finding(self) -> Finding:
        """The fault as the finding of an error."""
        return Finding(self.code, self.message, where=self.source, key=self.subject)


@dataclass(frozen=True)
class Found:
    """A hole as found in one format: centre (x, y) of its bore, diameters, all mm.

    `deviation` is the farthest any height of bore and throat lies from the wanted centre;
    `tilt` the perpendicularity error of the bore's axis to the ski, in degrees.
    """

    x: float
    y: float
    bore: float
    throat: float
    deviation: float
    tilt: float


@dataclass(frozen=True)
class PegFound:
    """A peg as found in one format: centre (x, y), diameter and the height of its top, all mm.

    `deviation` and `tilt` are as a hole's.
    """

    x: float
    y: float
    diameter: float
    top: float
    deviation: float
    tilt: float


AnyFound = TypeVar("AnyFound", Found, PegFound)


@dataclass(frozen=True)
class _Check(Generic[AnyFound]):
    """Where a hole or peg is wanted (ski frame, mm) and as what it was found, None where not."""

    id: str
    part: str
    x: float
    y: float
    step: AnyFound | None
    stl: AnyFound | None

    @property
    def deviation(self) -> float | None:
        """The larger deviation of the two formats in mm; None when either lacks it."""
        if self.step is None or self.stl is None:
            return None
        return max(self.step.deviation, self.stl.deviation)


@dataclass(frozen=True)
class HoleCheck(_Check[Found]):
    """One hole, with the diameters wanted of bore and throat, mm."""

    bore: float
    throat: float


@dataclass(frozen=True)
class PegCheck(_Check[PegFound]):
    """One peg, with the diameter and the height of its top that are wanted, mm."""

    diameter: float
    top: float


@dataclass(frozen=True)
class BootCheck:
    """One boot length on one part's ladder: where its line was found, x in mm, ski frame.

    `step` and `stl` are None where no line was found; `deviation` is the farthest that any of the
    part's holes lies from the layout of that boot, in either format, with the line on the mark.
    """

    part: str
    boot: float
    step: float | None
    stl: float | None
    deviation: float | None


@dataclass(frozen=True)
class Verification:
    """The outcome: how many checks were made, each hole and peg, every fault.

    `boots` are the boot lengths of parts with a ladder, none of a jig for one boot; `printing`
    is how each part prints.
    """

    checks: int
    holes: tuple[HoleCheck, ...]
    faults: tuple[Fault, ...]
    pegs: tuple[PegCheck, ...] = ()
    boots: tuple[BootCheck, ...] = ()
    printing: tuple[PartPrinting, ...] = ()

    @property
    def passed(self) -> bool:
        """Whether every check held and all holes, pegs and lines were found in both formats."""
        deviations = [item.deviation for item in (*self.measured, *self.boots)]
        return not self.faults and None not in deviations

    @property
    def measured(self) -> tuple[HoleCheck | PegCheck, ...]:
        """Every hole, then every peg."""
        return (*self.holes, *self.pegs)

    def of(self, code: str) -> tuple[Fault, ...]:
        """The faults with a code."""
        return tuple(fault for fault in self.faults if fault.code == code)

    def findings(self) -> tuple[Finding, ...]:
        """The faults as findings of an error."""
        return tuple(fault.finding() for fault in self.faults)

    def as_dict(self) -> dict[str, object]:
        """Plain values in a fixed order, floats rounded to DIGITS: equal for equal files."""
        ladders = {"ladders": [_plain(boot) for boot in self.boots]} if self.boots else {}
        return {
            "passed": self.passed,
            "checks": self.checks,
            "limits": limits.as_dict(),
            "holes": [_record(hole, ("x", "y", "bore", "throat")) for hole in self.holes],
            "pegs": [_record(peg, ("x", "y", "diameter", "top")) for peg in self.pegs],
            **ladders,
            "faults": [fault.as_dict() for fault in self.faults],
        }


def _record(item: HoleCheck | PegCheck, wanted: tuple[str, ...]) -> dict[str, object]:
    return {
        "id": item.id,
        "part": item.part,
        "wanted": _plain(item, wanted),
        "step": _plain(item.step),
        "stl": _plain(item.stl),
        "deviation": rounded(item.deviation),
    }


def _plain(
    record: Found | PegFound | HoleCheck | PegCheck | BootCheck | None, names: tuple[str, ...] = ()
) -> dict[str, object] | None:
    if record is None:
        return None
    names = names or tuple(entry.name for entry in fields(record))
    return {name: rounded(getattr(record, name)) for name in names}


def rounded(value: Any) -> Any:
    """A float rounded to DIGITS, no negative zero, None if not finite; anything else as it is."""
    if not isinstance(value, float):
        return value
    return round(float(value), DIGITS) + 0.0 if math.isfinite(value) else None


@dataclass
class Ledger:
    """Collects checks while a verification is made; never stops at the first that fails."""

    checks: int = 0
    faults: list[Fault] = field(default_factory=list)

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
        self.ledger.checks += 1
        if not holds:
            self.ledger.faults.append(
                Fault(code, self.source, self.name, message, found, wanted, limit, unit)
            )
        return holds

    def within(
        self,
        found: float,
        wanted: float,
        limit: float,
        code: str,
        message: str,
        unit: str = "mm",
    ) -> bool:
        """Count a check that `found` is no farther than `limit` from `wanted`, all in `unit`."""
        holds = bool(abs(found - wanted) <= limit)
        return self.expect(holds, code, message, found, wanted, limit, unit)

    def fail(self, code: str, message: str) -> None:
        """Count a check that failed."""
        self.expect(False, code, message)


def table(verification: Verification) -> str:
    """Columns id, wanted, found in STEP, found in STL, deviation; mm, ski frame."""
    head = ("hole or peg", *HEAD[1:]) if verification.pegs else HEAD
    rows = [head, *(_cells(item) for item in verification.measured)]
    return "\n".join([*_lines(rows, ruled=True), *_ladders(verification)])


def boot_table(verification: Verification) -> str:
    """Every line of every ladder: part, boot, its line in STEP and in STL, deviation; mm."""
    return "\n".join(_lines([BOOT_HEAD, *(_boot_row(boot) for boot in verification.boots)]))


def _lines(rows: Sequence[Sequence[str]], ruled: bool = False) -> list[str]:
    """Rows as lines of equal columns, the first to the left, the others to the right."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    if ruled:
        rows = [rows[0], ["-" * width for width in widths], *rows[1:]]
    return ["  ".join((r[0].ljust(widths[0]), *map(str.rjust, r[1:], widths[1:]))) for r in rows]


def _ladders(verification: Verification) -> Iterator[str]:
    """One line per ladder, after an empty one."""
    parts = dict.fromkeys(boot.part for boot in verification.boots)
    if parts:
        yield ""
    for part in parts:
        mine = [boot for boot in verification.boots if boot.part == part]
        lost = [boot for boot in mine if boot.deviation is None]
        worst = max((boot.deviation or 0.0 for boot in mine), default=0.0)
        lines = f"{len(lost)} without a line" if lost else "each with its line"
        yield (
            f"Ladder of {part}: boots {mine[0].boot:g} to {mine[-1].boot:g}, {len(mine)} lengths, "
            f"{lines}; with it on the mark the farthest hole is {worst:.3f} mm off"
        )


def _boot_row(boot: BootCheck) -> tuple[str, ...]:
    numbers = (
        NOTHING if value is None else f"{value + 0.0:.3f}"
        for value in (boot.step, boot.stl, boot.deviation)
    )
    return (boot.part, f"{boot.boot:g}", *numbers)


def verdict(verification: Verification) -> str:
    """One line whether the jig may be used, then one line per fault."""
    if verification.passed:
        pegs = f" and {len(verification.pegs)} pegs" if verification.pegs else ""
        return (
            f"Verification passed: {len(verification.holes)} holes{pegs}, "
            f"{verification.checks} checks; the farthest {'of them' if pegs else 'hole'} is "
            f"{_worst(verification):.3f} mm from where it should be."
        )
    lines = [
        f"Verification FAILED: do not use this jig. "
        f"{len(verification.faults)} of {verification.checks} checks:"
    ]
    lines += [f"  {_printable(str(fault))}  [{fault.code}]" for fault in verification.faults]
    return "\n".join(lines)


def _printable(text: str) -> str:
    """`text` with what could steer a terminal shown as an escape: names come from the files."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def _worst(verification: Verification) -> float:
    return max((item.deviation or 0.0 for item in verification.measured), default=0.0)


def _cells(item: HoleCheck | PegCheck) -> tuple[str, ...]:
    deviation = "-" if item.deviation is None else f"{item.deviation:.3f}"
    return (item.id, _point(item.x, item.y), _found(item.step), _found(item.stl), deviation)


def _found(found: Found | PegFound | None) -> str:
    return NOTHING if found is None else _point(found.x, found.y)


def _point(x: float, y: float) -> str:
    return f"{x + 0.0:9.3f} {y + 0.0:8.3f}"
