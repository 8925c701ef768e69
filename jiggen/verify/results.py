"""What a proof says: every fault with its numbers, and where each hole was found."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields
from typing import Any

from jiggen.errors import Finding
from jiggen.verify import limits

DIGITS = 6  # a nanometre


@dataclass(frozen=True)
class Fault:
    """One failed check.

    `code` is stable (``proof.moved``); `source` is the file or the format it was seen in;
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
class HoleProof:
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
        if self.step is None or self.stl is None:
            return None
        return max(self.step.deviation, self.stl.deviation)


@dataclass(frozen=True)
class Proof:
    """The outcome: how many checks were made, each hole, and every fault."""

    checks: int
    holes: tuple[HoleProof, ...]
    faults: tuple[Fault, ...]

    @property
    def passed(self) -> bool:
        """Whether every check held and every hole was found in both formats."""
        return not self.faults and all(hole.deviation is not None for hole in self.holes)

    def of(self, code: str) -> tuple[Fault, ...]:
        """The faults with a code."""
        return tuple(fault for fault in self.faults if fault.code == code)

    def findings(self) -> tuple[Finding, ...]:
        """The faults as findings of an error."""
        return tuple(fault.finding() for fault in self.faults)

    def as_dict(self) -> dict[str, Any]:
        """Plain values in a fixed order, floats rounded to DIGITS: equal for equal files."""
        return {
            "passed": self.passed,
            "checks": self.checks,
            "limits": limits.as_dict(),
            "holes": [
                {
                    "id": hole.id,
                    "part": hole.part,
                    "wanted": _plain(hole, ("x", "y", "bore", "throat")),
                    "step": _plain(hole.step),
                    "stl": _plain(hole.stl),
                    "deviation": rounded(hole.deviation),
                }
                for hole in self.holes
            ],
            "faults": [fault.as_dict() for fault in self.faults],
        }


def _plain(record: Found | HoleProof | None, names: tuple[str, ...] = ()) -> dict[str, Any] | None:
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
    """Collects checks while a proof is made; never stops at the first that fails."""

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
