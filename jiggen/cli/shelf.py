"""``jiggen shelf``: the jigs that the workshop owns, and what was done with each."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from jiggen import options as table
from jiggen.cautions import CAUTIONS
from jiggen.cli import output
from jiggen.cli.program import JIGS, Group, app, command
from jiggen.marks import read_jig_mark
from jiggen.options import Option, argument
from jiggen.report.lines import columns
from jiggen.request import options
from jiggen.request.products import OUT_FOLDER
from jiggen.request.shelf import PAIRS, SHELF, AtShelf

if TYPE_CHECKING:
    from jiggen.shelf.events import Doing, Event, Tick
    from jiggen.shelf.jigs import OwnedJig

LIST = "list"


class ShelfGroup(Group):
    """Commands about the shelf; what names none of them lists it."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """The words of the command."""
        only_help = {"-h", "--help"} & set(args)
        if not args or (args[0].startswith("-") and not only_help):
            args = [LIST, *args]
        return super().parse_args(ctx, args)


shelf = typer.Typer(
    name="shelf",
    cls=ShelfGroup,
    help="The jigs that the workshop owns: each by the jig mark that is engraved on it. Without "
    "a command: list them.",
)
app.add_typer(shelf, rich_help_panel=JIGS)

MARK = argument("mark", "text", "The jig mark that is engraved on it.", metavar="MARK")
TEXT = argument("text", "text", "What is to be known of it.", metavar="TEXT")
WHY = Option("why", "text", "Why it is retired.", group="Options", default="", metavar="TEXT")
FILE = argument("file", "path", "The table.", metavar="FILE.csv")
FOLDERS = Option(
    "below",
    "path",
    f"Look for built folders below this one too, not only below {OUT_FOLDER}; several times.",
    group="Options",
    repeated=True,
    metavar="DIR",
)
MarkArgument = Annotated[str, MARK]
ShelfOption = Annotated[Path, SHELF]
LimitOption = Annotated[int, table.BUSH_LIMIT]


@command(None, LIST, group=shelf)
def list_jigs(file: ShelfOption, limit: LimitOption, as_json: options.JsonOption) -> None:
    """List the jigs: what each serves, where it stands, and what speaks against using it."""
    from jiggen.shelf.jigs import warnings_of
    from jiggen.shelf.store import open_shelf

    with open_shelf(file) as found:
        jigs = found.jigs()

    def text() -> str:
        if not jigs:
            return "The shelf is empty: jiggen shelf add DIR puts a built jig on it."
        against = (warnings_of(jig, limit) if jig.kind == "jig" else () for jig in jigs)
        rows = (
            (jig.mark, jig.state, str(jig.pairs), jig.serves, "; ".join(f.message for f in found))
            for jig, found in zip(jigs, against, strict=True)
        )
        return "\n".join(
            line.rstrip()
            for line in columns(("mark", "state", "pairs", "serves", ""), rows, left=5)
        )

    data = {"jigs": [_data(jig, limit) for jig in jigs]}
    output.write(as_json, lambda: data, text)


@command(None, group=shelf)
def add(folder: options.FolderArgument, at: AtShelf, as_json: options.JsonOption) -> None:
    """Put the jig, trial plate or gauge of a built folder on the shelf; the folder is verified.

    Also says where a folder is now that was moved. Exit code 1 when it fails its verification.
    """
    from jiggen.shelf.store import open_shelf

    with output.shown_progress(), open_shelf(at.file) as found:
        jig = found.add(folder, at.who)
    _tell(jig, as_json)


@command(None, "mark", group=shelf)
def show(
    mark: MarkArgument, file: ShelfOption, limit: LimitOption, as_json: options.JsonOption
) -> None:
    """Show the jig with that mark: what it serves, its folder, and all that was done with it."""
    from jiggen.shelf.store import open_shelf

    with open_shelf(file, new=False) as found:
        jig = found.known(read_jig_mark(mark))
        events = found.events(jig.mark)
    _tell(jig, as_json, limit, events)


@command(None, group=shelf)
def drilled(
    mark: MarkArgument,
    pairs: Annotated[int, PAIRS],
    at: AtShelf,
    limit: LimitOption,
    as_json: options.JsonOption,
) -> None:
    """Count pairs of skis that were drilled with a jig; it is in use then."""
    _do(mark, "drilled", at, as_json, limit, pairs=pairs)


@command(None, group=shelf)
def printed(mark: MarkArgument, at: AtShelf, as_json: options.JsonOption) -> None:
    """Note that a jig was printed, or printed anew: that print is not measured yet."""
    _do(mark, "printed", at, as_json)


@command(None, group=shelf)
def use(mark: MarkArgument, at: AtShelf, as_json: options.JsonOption) -> None:
    """Take a jig into use. Exit code 1 when its last measurement failed."""
    _do(mark, "in use", at, as_json)


@command(None, group=shelf)
def bushes(mark: MarkArgument, at: AtShelf, as_json: options.JsonOption) -> None:
    """Note that a jig has new bushes: the holes that they guide are counted from here."""
    _do(mark, "new bushes", at, as_json)


@command(None, group=shelf)
def retire(
    mark: MarkArgument, why: Annotated[str, WHY], at: AtShelf, as_json: options.JsonOption
) -> None:
    """Retire a jig: it is not proposed any more."""
    _do(mark, "retired", at, as_json, text=why)


@command(None, group=shelf)
def note(
    mark: MarkArgument, text: Annotated[str, TEXT], at: AtShelf, as_json: options.JsonOption
) -> None:
    """Write a note about a jig."""
    _do(mark, "note", at, as_json, text=text)


@command(None, group=shelf)
def rebuild(
    below: Annotated[list[Path] | None, FOLDERS], at: AtShelf, as_json: options.JsonOption
) -> None:
    """Make the shelf anew from the folders of its jigs, each verified.

    What was done with the jigs stays, unless the file is damaged: then it is put aside whole, and
    the last export is read back.
    """
    from jiggen.shelf.rebuilt import rebuild as made_anew

    tops = [at.file.resolve().parent / OUT_FOLDER, *(below or ())]
    with output.shown_progress():
        made = made_anew(at.file, tops, at.who)
    lines = [f"{at.file}: {_counted(made.jigs)}"]
    if made.aside:
        lines += [
            f"The damaged file is {made.aside} now.",
            "What was done with the jigs comes back by jiggen shelf import FILE.csv.",
        ]
    data = {
        "jigs": [jig.as_dict() for jig in made.jigs],
        "aside": made.aside and str(made.aside),
        "refused": [finding.as_dict() for finding in made.refused],
    }
    output.write(as_json, lambda: data, lambda: "\n".join(lines), made.refused)


@command(None, "export", group=shelf)
def export_events(
    target: Annotated[Path, FILE], file: ShelfOption, as_json: options.JsonOption
) -> None:
    """Write all that was done with the jigs as a table (CSV), to keep elsewhere.

    The pairs ticked off of every evening are in it. What the jigs are is in their folders.
    """
    from jiggen.files import write_whole
    from jiggen.shelf.store import open_shelf
    from jiggen.shelf.table import table_of

    with open_shelf(file, new=False) as found:
        done: list[Event | Tick] = [*found.all_events(), *found.all_ticks()]
    write_whole(target, table_of(done), "file")
    data = {"written": str(target), "rows": len(done)}
    output.write(as_json, lambda: data, lambda: f"Written: {target}, {len(done)} rows")


@command(None, "import", group=shelf)
def import_events(
    source: Annotated[Path, FILE], file: ShelfOption, as_json: options.JsonOption
) -> None:
    """Read back a table that export wrote: what the shelf has already is not counted twice.

    Exit code 1 when rows are about jigs that are not on the shelf: put their folders on it, and
    read the table once more.
    """
    from jiggen.shelf.store import open_shelf
    from jiggen.shelf.table import read_done

    done = read_done(source)
    with open_shelf(file) as found:
        added, unknown = found.put_back(done)
    lines = [f"{added} of {len(done)} rows are new on the shelf."]
    if unknown:
        lines.append(f"Not on the shelf, and left out: {', '.join(unknown)}.")
    data = {"rows": len(done), "added": added, "unknown": list(unknown)}
    output.write(as_json, lambda: data, lambda: "\n".join(lines), passed=not unknown)


def _do(mark: str, doing: Doing, at: AtShelf, as_json: bool, limit: int = 0, **more: Any) -> None:
    from jiggen.shelf.store import open_shelf

    with open_shelf(at.file, new=False) as found:
        jig = found.do(read_jig_mark(mark), doing, at.who, **more)
    _tell(jig, as_json, limit)


def _data(jig: OwnedJig, limit: int) -> dict[str, Any]:
    from jiggen.shelf.jigs import warnings_of

    warnings = warnings_of(jig, limit) if limit else ()
    return jig.as_dict() | {"warnings": [finding.as_dict() for finding in warnings]}


def _tell(jig: OwnedJig, as_json: bool, limit: int = 0, events: Iterable[Event] = ()) -> None:
    """A print as it is now, and all that was done with it where `events` are asked for."""
    from jiggen.shelf.jigs import warnings_of
    from jiggen.units import counted

    folder = jig.folder
    with suppress(ValueError):
        folder = folder.relative_to(Path.cwd())
    words = {None: "not measured", True: "measured: passed", False: "measured: FAILED"}
    lines = [f"{jig.mark}  {jig.serves}"]
    if jig.kind == "jig":
        lines.append(f"{jig.state}, {words[jig.passed]}")
        pairs, holes = counted(jig.pairs, "pair"), counted(jig.drilled, "hole")
        lines.append(f"{pairs} drilled, {holes} by each bush")
    else:
        lines.append(jig.state)
    lines += [f"Note: {jig.note}"] if jig.note else []
    lines += [f"Folder: {folder}" + ("" if jig.folder.is_dir() else " (not there any more)")]
    done = [*events]
    rows = ((event.at[:16].replace("T", " "), event.by, _words(event)) for event in done)
    lines += ["", *columns(("when (UTC)", "who", "what"), rows, left=3)] if done else []
    lines += ["", *CAUTIONS] if done and jig.kind == "jig" else []
    data = _data(jig, limit) | ({"events": [vars(event) for event in done]} if done else {})
    warnings = tuple(warnings_of(jig, limit)) if limit and jig.kind == "jig" else ()
    output.write(as_json, lambda: data, lambda: "\n".join(lines), warnings)


def _words(event: Event) -> str:
    result = {None: "", True: ": passed", False: ": failed"}[event.passed]
    number = f" {event.pairs}" if event.pairs else ""
    return f"{event.doing}{number}{result}" + (f", {event.text}" if event.text else "")


def _counted(jigs: tuple[OwnedJig, ...]) -> str:
    from jiggen.units import counted

    names = [("jig", "jig"), ("trial", "trial plate"), ("gauge", "gauge")]
    found = [(sum(jig.kind == kind for jig in jigs), words) for kind, words in names]
    return ", ".join(counted(number, words) for number, words in found if number) or "nothing"
