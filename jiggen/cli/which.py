"""``jiggen shelf find``: which jig for this pair."""

from __future__ import annotations

from jiggen.cli import output
from jiggen.cli.program import command
from jiggen.cli.shelf import shelf
from jiggen.request.options import JsonOption
from jiggen.request.products import JIG
from jiggen.request.which import WhichRequest


@command(None, "find", group=shelf)
def find(asked: WhichRequest, as_json: JsonOption) -> None:
    """Find the jig for the pair on the bench: its line, drill and stop, what the rails read.

    Where none fits: why not, jig by jig, and what to build. What is found is verified first.

    Exit code 1 when there is none, or none that may be drilled with.
    """
    from jiggen.shelf.folders import find_for
    from jiggen.shelf.told import as_dict, as_text

    with output.shown_progress():
        answer, words = find_for(asked)
    line, best = JIG.command_line(words), answer.best
    output.write(
        as_json,
        lambda: as_dict(answer, line, words),
        lambda: as_text(answer, line),
        best.warnings if best else (),
        passed=best is not None,
    )
