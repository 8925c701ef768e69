"""The check of a toolpath in words: print it, or do not, and where its holes will be."""

from collections import Counter
from collections.abc import Iterator

from jiggen.errors import printable
from jiggen.outcome import Fault
from jiggen.verify.toolpath import FoundHole, SlicedFile, ToolpathCheck

HEAD = ("hole", "wanted x, y", "found x, y", "off by", "wanted", "found")
NOTHING = "not found"
UNSOUND = "  As the folder has it, but the folder failed its verification: do NOT print it."


def toolpath_text(check: ToolpathCheck, *, sound: bool = True) -> str:
    """Every file: what it holds, its holes, how it was sliced, and whether to print it.

    Nothing is to be printed of a folder that is not `sound`: its own verification failed.
    """
    files = "\n".join(line for file in check.files for line in (*_file(file, sound), ""))
    return files + "\n".join(_together(check, sound))


def _file(file: SlicedFile, sound: bool) -> Iterator[str]:
    counts = Counter(piece.part or "unknown" for piece in file.pieces)
    pieces = ", ".join(f"{count} x {name}" if count > 1 else name for name, count in counts.items())
    yield f"{printable(file.file)}: {file.holds or 'not a bed of this folder'} ({pieces})"
    yield from _holes(file.holes)
    stated = file.stated
    rows = (
        ("layers", f"{stated.layer:g} mm"),
        ("walls", stated.walls),
        ("skins", stated.skins),
        ("infill", None if stated.infill is None else f"{stated.infill:g} %"),
        ("material", stated.material),
        ("time", stated.time),
        ("filament", stated.filament),
    )
    yield "  " + printable(
        ", ".join(f"{name} {value}" for name, value in rows if value is not None)
    )
    yield from (f"  Note: {printable(note)}." for note in file.notes)
    if file.faults:
        yield "  Do NOT print it:"
        yield from (f"    {_fault(fault)}" for fault in file.faults)
    else:
        yield "  Print it." if sound else UNSOUND


def _holes(holes: tuple[FoundHole, ...]) -> Iterator[str]:
    """A table: places in the ski frame and diameters, mm."""
    if not holes:
        return
    rows = [HEAD, *map(_cells, holes)]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    rows.insert(1, tuple("-" * width for width in widths))
    for row in rows:
        yield "  " + "  ".join((row[0].ljust(widths[0]), *map(str.rjust, row[1:], widths[1:])))


def _cells(hole: FoundHole) -> tuple[str, ...]:
    found = f"{hole.found[0]:9.3f} {hole.found[1]:8.3f}" if hole.found else NOTHING
    off = "-" if hole.deviation is None else f"{hole.deviation:.3f}"
    wide = "-" if hole.diameter is None else f"⌀ {hole.diameter:.2f}"
    wanted = f"{hole.wanted[0]:9.3f} {hole.wanted[1]:8.3f}"
    return hole.id, wanted, found, off, f"⌀ {hole.wanted_diameter:.2f}", wide


def _fault(fault: Fault) -> str:
    return f"{printable(fault.subject)}: {printable(fault.message)}  [{fault.code}]"


def _together(check: ToolpathCheck, sound: bool) -> Iterator[str]:
    within = {id(fault) for file in check.files for fault in file.faults}
    yield ""
    if check.unchecked:
        yield f"Not in these files, and so not checked: {', '.join(check.unchecked)}."
    yield from (_fault(fault) for fault in check.faults if id(fault) not in within)
    count = len(check.files)
    what = "the file" if count == 1 else f"all {count} files"
    if check.passed and not sound:
        yield f"G-code as the folder has it, {check.checks} checks; that failed: do NOT print."
    elif check.passed:
        yield f"G-code passed, {check.checks} checks: print {what}."
    else:
        bad = [printable(file.file) for file in check.files if file.faults]
        named = f": {', '.join(bad)}" if bad else ""
        yield f"G-code FAILED, {len(check.faults)} of {check.checks} checks: do NOT print{named}."
