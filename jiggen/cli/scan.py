"""``jiggen scan``: from scans of a plate to its holes, a survey file and a pattern."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from jiggen.cli import output
from jiggen.cli.program import PATTERNS, command
from jiggen.errors import Finding, InputError
from jiggen.request import options
from jiggen.request.scan import SCANS_PNG, SCANS_SVG, ScanRequest, draw_scans


@command(PATTERNS)
def scan(
    asked: ScanRequest,
    svg: Annotated[Path | None, SCANS_SVG],
    png: Annotated[Path | None, SCANS_PNG],
    as_json: options.JsonOption,
) -> None:
    """Find where a plate's holes are from flatbed scans of it, and write a survey or a pattern.

    Scan the plate two to four times, turned by a quarter each time, at 600 dpi, grey, pressed flat.
    First look which hole is which: jiggen scan a.png b.png --svg holes.svg. Then once more with one
    or two long caliper distances, which give the scale.

    Says of each hole where it is and how surely. Photographs are refused: what stands above the
    plane of the rims is seen too large. Exit code 1, and no pattern, when the scans contradict one
    another or the holes are not known well enough.
    """
    from jiggen.files import write_whole
    from jiggen.report.scan import as_data, lines

    wanted = asked.survey or asked.out
    if wanted:
        asked.plate.check()
    with output.shown_progress():
        pictures = asked.reading.look_at(asked.images)
        judged = asked.judge(pictures)
        draw_scans(judged.fitted, pictures, svg, png)
    against, warnings = [*judged.against], [*judged.warnings]
    written: list[Path] = []
    open_still: tuple[Finding, ...] = ()
    if wanted and (asked.accept or not against):
        text = asked.survey_text(judged)
        if asked.survey:
            write_whole(asked.survey, text, "--survey")
            written.append(asked.survey)
        try:
            surveyed = asked.solve(text)
        except InputError as error:
            if asked.out:
                raise
            open_still = error.findings
        else:
            against += surveyed.against
            warnings += surveyed.warnings
            pattern = surveyed.pattern(accept=asked.accept) if asked.out else None
            if asked.out and pattern:
                write_whole(asked.out, pattern, "--out")
                written.append(asked.out)
    wrote = "".join(f"\n\nWritten: {path}" for path in written)
    if open_still:
        wrote += f"\nFill it in, then: jiggen survey {asked.survey} --out PATTERN.toml"
    output.write_judged(
        as_json,
        lambda: output.plain(as_data(judged.fitted, pictures)) | {"limit": asked.limit},
        lambda: "\n".join(lines(judged.fitted, pictures)) + wrote,
        against,
        warnings=(*warnings, *open_still),
        written=written[-1] if written else None,
        accepted=asked.accept,
    )
