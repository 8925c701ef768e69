"""The proof as plain text: a row a hole, then the verdict and every fault."""

from __future__ import annotations

from jiggen.verify.results import Found, HoleProof, Proof

HEAD = ("hole", "wanted x, y", "found in STEP", "found in STL", "deviation")
NOTHING = "not found"


def table(proof: Proof) -> str:
    """Columns id, wanted, found in STEP, found in STL, deviation; mm, ski frame."""
    rows = [HEAD, *(_row(hole) for hole in proof.holes)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(HEAD))]
    lines = []
    for row in rows:
        first, *others = (cell.rjust(width) for cell, width in zip(row, widths, strict=True))
        lines.append("  ".join((first.strip().ljust(widths[0]), *others)))
    lines.insert(1, "  ".join("-" * width for width in widths))
    return "\n".join(lines)


def verdict(proof: Proof) -> str:
    """One line whether the jig may be used, then a line a fault."""
    if proof.passed:
        return (
            f"Proof passed: {len(proof.holes)} holes, {proof.checks} checks; the farthest hole "
            f"is {_worst(proof):.3f} mm from where it should be."
        )
    lines = [f"PROOF FAILED: do not use this jig. {len(proof.faults)} of {proof.checks} checks:"]
    lines += [f"  {_printable(str(fault))}  [{fault.code}]" for fault in proof.faults]
    return "\n".join(lines)


def _printable(text: str) -> str:
    """`text` with what could steer a terminal shown as an escape: names come from the files."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def _worst(proof: Proof) -> float:
    return max((hole.deviation or 0.0 for hole in proof.holes), default=0.0)


def _row(hole: HoleProof) -> tuple[str, ...]:
    deviation = "-" if hole.deviation is None else f"{hole.deviation:.3f}"
    return (hole.id, _point(hole.x, hole.y), _found(hole.step), _found(hole.stl), deviation)


def _found(found: Found | None) -> str:
    return NOTHING if found is None else _point(found.x, found.y)


def _point(x: float, y: float) -> str:
    return f"{x + 0.0:9.3f} {y + 0.0:8.3f}"
