"""The public functions: five verbs, one for each step that a program takes.

Whatever they need is imported when they are called, so ``import jiggen`` costs next to nothing.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from jiggen.design import Design, Settings
    from jiggen.drilling import DrillingLimits, SkiState
    from jiggen.layout import Layout
    from jiggen.measure.printer.profile import Profile
    from jiggen.pattern.model import Core, Pattern, Side
    from jiggen.pipeline.build import Built
    from jiggen.pipeline.products import PlannedJig
    from jiggen.record import JigRecord
    from jiggen.verify import Verification

Range = tuple[float, float]
"""Least and greatest length in mm."""


def read_pattern(name: str | Path) -> Pattern:
    """Read and check a pattern: a file's path, or the name of one in ./patterns or of jiggen's own.

    Raises InputError with every fault of the file, each with its line.
    """
    from jiggen.pattern import find_pattern, read_pattern

    return read_pattern(find_pattern(str(name)))


def lay_out(
    pattern: Pattern | str | Path,
    boot: float,
    *,
    shift: float = 0.0,
    core: Core = "plain",
    side: Side = "left",
) -> Layout:
    """Compute where the holes of `pattern` go on one ski for a boot sole of `boot` mm.

    `shift` moves the mount along the ski, + towards the tip, mm; `core` decides the drill; `side`
    matters for mirrored patterns.  The result has `ids`, `positions` ((n, 2) float, mm),
    `diameters` and `depths` ((n,) float, mm).  Raises InputError for what does not fit.
    """
    from jiggen.layout import lay_out

    return lay_out(_pattern(pattern), boot, mount_shift=shift, core=core, side=side)


def design_jig(layout: Layout, ski: Range, *, settings: Settings | None = None) -> Design:
    """Choose every dimension of a jig for `layout` on skis of `ski` widths, as plain numbers.

    Widths are measured ``settings.rail_depth``, 9 mm, below the top sheet.
    `settings` are the printer's bed, the bush and the rest, where they are not the usual ones.
    Raises InputError when no jig fits.
    """
    from jiggen.design import design_jig

    return design_jig(layout, _settings(ski, settings))


def build(
    pattern: Pattern | str | Path,
    boot: float | Range,
    ski: Range,
    out: str | Path,
    *,
    shift: float = 0.0,
    core: Core = "plain",
    side: Side = "left",
    settings: Settings | None = None,
    measured: SkiState | None = None,
    limits: DrillingLimits | None = None,
    printer: Profile | None = None,
    copy: int = 1,
    replace_folder: bool = False,
) -> Built[PlannedJig, JigRecord]:
    """Build a jig into the folder `out`, and verify it from its files.

    `boot` is one boot sole or, for a jig for many boots, the shortest and the longest; `ski` the
    narrowest and the widest ski, measured ``settings.rail_depth``, 9 mm, below the top
    sheet; all in mm.  What the pattern says of screws and of the allowed
    area holds; `measured` and `limits` are the ski in hand and what is asked of its holes;
    `printer` the profile of a printer; `copy` counts the prints of one jig, each with a jig mark of
    its own.  `out` is replaced whole or not at all, and only if jiggen
    made it, unless `replace_folder`.

    The result has `folder`, `record`, `verification` and `warnings`.  A jig whose verification
    failed lies in a folder named ``…-failed``: look at ``verification.passed``.  Raises InputError
    for bad input, CheckFailed when moving parts would interfere or the ski is too thin; then
    nothing is written.
    """
    from jiggen.drilling import DrillingLimits, SkiState
    from jiggen.job import Job
    from jiggen.pipeline.products import build_jig

    job = Job(
        _pattern(pattern),
        boot if isinstance(boot, tuple) else (boot, boot),
        _settings(ski, settings),
        core=core,
        side=side,
        shift=shift,
        measured=measured or SkiState(),
        limits=limits or DrillingLimits(),
        printer=printer,
        copy=copy,
    )
    return build_jig(job, Path(out), force=replace_folder)


def verify(folder: str | Path) -> Verification:
    """Verify a built folder from its files alone: every hole, every part, and every checksum.

    Raises InputError when it has no record.
    """
    from jiggen.verify import check

    return check(Path(folder))


def _pattern(pattern: Pattern | str | Path) -> Pattern:
    return read_pattern(pattern) if isinstance(pattern, str | Path) else pattern


def _settings(ski: Range, settings: Settings | None) -> Settings:
    from jiggen.design import Settings, SkiRange

    widths = SkiRange(*ski)
    return replace(settings, ski=widths) if settings else Settings(widths)
