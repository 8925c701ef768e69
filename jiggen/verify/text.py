"""The verification as plain text: a row a hole or peg, then the verdict and every fault."""

from __future__ import annotations

from collections.abc import Iterator

from jiggen.verify.results import BootCheck, Found, HoleCheck, PegCheck, PegFound, Verification

HEAD = ("hole", "wanted x, y", "found in STEP", "found in STL", "deviation")
BOOT_HEAD = ("ladder of", "boot", "line in STEP", "line in STL", "deviation")
NOTHING = "not found"


def table(verification: Verification) -> str:
    """Columns id, wanted, found in STEP, found in STL, deviation; mm, ski frame."""
    head = ("hole or peg", *HEAD[1:]) if verification.pegs else HEAD
    rows = [head, *(_row(item) for item in verification.measured)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(head))]
    lines = []
    for row in rows:
        first, *others = (cell.rjust(width) for cell, width in zip(row, widths, strict=True))
        lines.append("  ".join((first.strip().ljust(widths[0]), *others)))
    lines.insert(1, "  ".join("-" * width for width in widths))
    return "\n".join([*lines, *_ladders(verification)])


def boot_table(verification: Verification) -> str:
    """Every line of every ladder: part, boot, its line in STEP and in STL, deviation; mm."""
    rows = [BOOT_HEAD, *(_boot_row(boot) for boot in verification.boots)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(BOOT_HEAD))]
    return "\n".join(
        "  ".join((row[0].ljust(widths[0]), *map(str.rjust, row[1:], widths[1:]))) for row in rows
    )


def _ladders(verification: Verification) -> Iterator[str]:
    """One line a ladder, after an empty one."""
    parts = dict.fromkeys(boot.part for boot in verification.boots)
    if parts:
        yield ""
    for part in parts:
        mine = [boot for boot in verification.boots if boot.part == part]
        lost = [boot for boot in mine if boot.deviation is None]
        worst = max((boot.deviation or 0.0 for boot in mine), default=0.0)
        said = f"{len(lost)} without a line" if lost else "each with its line"
        yield (
            f"Ladder of {part}: boots {mine[0].boot:g} to {mine[-1].boot:g}, {len(mine)} lengths, "
            f"{said}; with it on the mark the farthest hole is {worst:.3f} mm off"
        )


def _boot_row(boot: BootCheck) -> tuple[str, ...]:
    numbers = (
        NOTHING if value is None else f"{value + 0.0:.3f}"
        for value in (boot.step, boot.stl, boot.deviation)
    )
    return (boot.part, f"{boot.boot:g}", *numbers)


def verdict(verification: Verification) -> str:
    """One line whether the jig may be used, then a line a fault."""
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


def _row(item: HoleCheck | PegCheck) -> tuple[str, ...]:
    deviation = "-" if item.deviation is None else f"{item.deviation:.3f}"
    return (item.id, _point(item.x, item.y), _found(item.step), _found(item.stl), deviation)


def _found(found: Found | PegFound | None) -> str:
    return NOTHING if found is None else _point(found.x, found.y)


def _point(x: float, y: float) -> str:
    return f"{x + 0.0:9.3f} {y + 0.0:8.3f}"
