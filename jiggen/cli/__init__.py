"""Room: cli. The program `jiggen`: words in, words and exit codes out.

Exit codes: 0 done, 1 a check failed, 2 bad input or bad use, 70 a fault in jiggen itself and
74 one of the system that no room has put into words (EX_SOFTWARE and EX_IOERR of BSD's
sysexits), 130 stopped from the keyboard and 141 nobody reads the output (128 and the signal's
number, as in a shell).
"""

import gc
import json
import os
import sys
import traceback
from collections.abc import Iterable, Sequence
from contextlib import suppress
from importlib import import_module
from pathlib import Path

import typer

from jiggen.cli.defaults import defaults_for, placed
from jiggen.cli.output import as_lines, in_options, say
from jiggen.cli.program import app
from jiggen.cli.stopping import stoppable
from jiggen.errors import CheckFailed, Finding, JiggenError
from jiggen.progress import keeping_notes, keeping_written
from jiggen.request.defaults import Default

__all__ = ["app", "main", "run"]

DONE, BAD_USE, FAULT, SYSTEM, STOPPED, UNREAD = 0, 2, 70, 74, 130, 141
PROGRAM = "jiggen"
SHOWN = 3  # of what was written, when it is stopped
SELDOM = 100_000  # objects made before the garbage collector looks for rings among them
# Importing a module registers its commands.
for _module in (
    "build",
    "check",
    "defaults",
    "desk",
    "layout",
    "new",
    "printed",
    "remount",
    "scan",
    "sheet",
    "shelf",
    "survey",
    "which",
):
    import_module(f"jiggen.cli.{_module}")


def main(argv: Sequence[str] | None = None) -> int:
    """Run jiggen on `argv` (default: the command line's words); returns the exit code."""
    if argv is not None:
        return run(app, argv)
    collect_seldom()  # this process is ours
    code = run(app, sys.argv[1:])
    gc.freeze()  # it ends: to take the CAD kernel's objects apart first took it 0.9 s
    return code


def collect_seldom() -> None:
    """Let the collector walk over what the CAD kernel has loaded now and then, not all the time.

    At Python's own 700 objects it took 1.2 s of a build's 16 s (by `gc.callbacks`), at SELDOM
    0.5 s.  Not for what does job after job: solids are in rings, which would wait in memory.
    """
    gc.set_threshold(SELDOM)


def run(app: typer.Typer, argv: Sequence[str]) -> int:
    """Run `app` on the words after the program's name; returns the exit code.

    ``--debug`` counts wherever it stands, and so does ``--json``: with it, errors are an object
    on standard output instead of lines on standard error.
    """
    words = [word for word in argv if word != "--debug"]
    debug = len(words) < len(argv)
    used: dict[str, Default] = {}
    written: list[str] = []
    for stream in (sys.stdout, sys.stderr):  # no name that their encoding lacks ends the program
        if reconfigure := getattr(stream, "reconfigure", None):
            reconfigure(errors="backslashreplace")
    try:
        used = defaults_for(words)
        # What `app` does when called, but without its own handling of errors.
        command = typer.main.get_command(app)
        in_files = {field: default.words for field, default in used.items()}
        defaults = {
            name: in_files | dict.fromkeys(getattr(inner, "commands", ()), in_files)
            for name, inner in getattr(command, "commands", {}).items()
        }
        given = words or ["--help"]
        with keeping_notes(), keeping_written(written), stoppable() as stop:
            try:
                with command.make_context(PROGRAM, given, default_map=defaults) as begun:
                    command.invoke(begun)
            except Exception as error:
                if stop.wanted:  # and something made another error of it
                    raise KeyboardInterrupt from error
                raise
        sys.stdout.flush()
    except typer.Exit as end:
        return end.exit_code
    except JiggenError as error:
        findings = [placed(finding, used, words) for finding in error.findings]
        return _report(findings, error.exit_code, words)
    except typer.TyperException as error:
        context = getattr(error, "ctx", None)
        hint = f"See {context.command_path if context else PROGRAM} --help."
        return _report([Finding("cli.use", error.format_message(), hint=hint)], BAD_USE, words)
    except (KeyboardInterrupt, typer.Abort):
        return _report([_stopped(written)], STOPPED, words)
    except BrokenPipeError:
        # Keep Python from writing once more, at its end, to a pipe that nobody reads.
        with suppress(OSError, ValueError), Path(os.devnull).open("wb") as nowhere:
            os.dup2(nowhere.fileno(), sys.stdout.fileno())
        return UNREAD
    except Exception as error:
        if debug:
            traceback.print_exc()
        system = isinstance(error, OSError)
        return _report([_unforeseen(error)], SYSTEM if system else FAULT, words)
    return DONE


def _stopped(written: Sequence[str]) -> Finding:
    """That Ctrl-C ended the command, and what is there of it all the same."""
    if not written:
        return Finding("cli.stopped", "nothing was written")
    more = f" and {len(written) - SHOWN} more" if len(written) > SHOWN else ""
    names = f"{', '.join(written[:SHOWN])}{more}"
    return Finding("cli.stopped", f"written before that, each whole: {names}; nothing else")


def _unforeseen(error: Exception) -> Finding:
    if isinstance(error, OSError):
        message = f"operating system error: {error.strerror or error}"
        hint = "Check the space left, the folder and your rights there, then run it again."
        return Finding("cli.system", message, where=str(error.filename or ""), hint=hint)
    frames = traceback.extract_tb(error.__traceback__)
    place = f"{Path(frames[-1].filename).name}:{frames[-1].lineno}" if frames else ""
    message = f"internal error: {type(error).__name__}: {' '.join(str(error).split())}"
    hint = "Nothing is wrong with your input as such. --debug shows more, for a report."
    return Finding("cli.fault", message, where=place, hint=hint)


def _report(findings: Iterable[Finding], code: int, words: list[str]) -> int:
    """Say what went wrong; returns `code`."""
    if "--json" in words:
        errors = [in_options(finding).as_dict() for finding in findings]
        typer.echo(json.dumps({"exit": code, "errors": errors}, indent=1, ensure_ascii=False))
        return code
    word = {CheckFailed.exit_code: "failed", STOPPED: "stopped"}.get(code, "error")
    for finding in findings:
        say(as_lines(finding), err=True, word=word)
    return code
