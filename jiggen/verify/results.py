"""What a verification says: every fault with its numbers, and where each hole was found."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any

from jiggen.errors import Finding
from jiggen.verify import limits

if TYPE_CHECKING:
    from jiggen.verify.printing import PartPrinting

DIGITS = 6  # a nanometre


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

    def as_dict(self) -> dict[str, Any]:
        """The fault as plain values, floats rounded to DIGITS."""
        return {entry.name: rounded(getattr(self, entry.name)) for entry in fields(self)}

    def finding(self) -> Finding:
        """The fault as the finding of an error."""
        return Finding(self.code, self.message, where=self.source, key=self.subject)


@dataclass(frozen=True)
class Found:
    """A hole as found in one format: centre (x, y) of its bore, diameters, all mm.

    `deviation` is the farthest any height of bore and throat lies from the wanted centre;
    `tilt` the bore's axis off square to the ski, in degrees.
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


@dataclass(frozen=True)
class HoleCheck:
    """One hole: where it is wanted (ski frame, mm) and how it was found, None where it was not."""

    id: str
    part: str
    x: float
    y: float
    bore: float
    throat: float
    step: Found | None
    stl: Found | None

    @property
    def deviation(self) -> float | None:
        """The larger deviation of the two formats in mm; None when either lacks the hole."""
        return _larger(self.step, self.stl)


@dataclass(frozen=True)
class PegCheck:
    """One peg: where and how it is wanted (mm), and how it was found, None where it was not."""

    id: str
    part: str
    x: float
    y: float
    diameter: float
    top: float
    step: PegFound | None
    stl: PegFound | None

    @property
    def deviation(self) -> float | None:
        """The larger deviation of the two formats in mm; None when either lacks the peg."""
        return _larger(self.step, self.stl)


def _larger(step: Found | PegFound | None, stl: Found | PegFound | None) -> float | None:
    return None if step is None or stl is None else max(step.deviation, stl.deviation)


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
    says how each part prints.
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

    def as_dict(self) -> dict[str, Any]:
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


def _record(item: HoleCheck | PegCheck, wanted: tuple[str, ...]) -> dict[str, Any]:
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
) -> dict[str, Any] | None:
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

    def expect(self, holds: bool, fault: Fault) -> bool:
        """Count a check, and keep `fault` unless it holds."""
        self.checks += 1
        if not holds:
            self.faults.append(fault)
        return holds

    def fail(self, fault: Fault) -> None:
        """Count a check that failed."""
        self.expect(False, fault)
