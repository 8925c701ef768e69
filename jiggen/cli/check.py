"""``jiggen check``: a built folder verified again, and what a slicing program made of it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from jiggen.cautions import CAUTIONS
from jiggen.cli import output
from jiggen.cli.program import JIGS, command
from jiggen.options import RESULT, Option
from jiggen.request import options

GCODE = Option(
    "gcode",
    "path",
    "Check this G-code, made of the folder's parts or beds, as well; once for each file.",
    group=RESULT,
    repeated=True,
)


@command(JIGS)
def check(
    folder: options.FolderArgument,
    gcode: Annotated[tuple[Path, ...], GCODE],
    holes_too: options.HolesOption,
    as_json: options.JsonOption,
) -> None:
    """Verify a built folder again: every hole, every part, and that no file has changed.

    With --gcode, also what your slicing program made of its parts or beds: which they are,
    whether they were scaled, mirrored, turned or changed, and every hole in the toolpath.

    Exit code 0 when all is as it was designed, 1 when anything is not: then do not use it, or do
    not print it.
    """
    from jiggen.verify import check as verify_folder
    from jiggen.verify import table as as_table
    from jiggen.verify import verdict

    found = verify_folder(folder)
    data = found.as_dict() | {"strange": list(found.strange)}
    table_of = ("", as_table(found)) if holes_too else ()
    text = "\n".join((verdict(found), *table_of))
    if not gcode:
        output.write(as_json, lambda: data, lambda: text, passed=found.passed)
        return

    from jiggen.report.toolpath import toolpath_text
    from jiggen.verify.toolpath import check_toolpaths

    with output.shown_progress():
        sliced = check_toolpaths(folder, gcode)
    output.write(
        as_json,
        lambda: data | {"gcode": sliced.as_dict()},
        lambda: "\n".join(
            (verdict(found), "", toolpath_text(sliced, sound=found.passed), *CAUTIONS, *table_of)
        ),
        passed=found.passed and sliced.passed,
    )
