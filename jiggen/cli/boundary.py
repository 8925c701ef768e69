"""The one place where what went wrong becomes lines, JSON and an exit code.

Exit codes: 0 done, 1 a check failed, 2 bad input or bad use, 70 a fault in jiggen itself and
74 one of the system that no room has put into words (EX_SOFTWARE and EX_IOERR of BSD's
sysexits), 130 stopped from the keyboard and 141 nobody reads the output (128 and the signal's
number, as in a shell).
"""

from __future__ import annotations

import gc
import json
import os
import sys
import traceback
from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path

import typer

from jiggen.cli.defaults import Default, defaults_for, placed
from jiggen.cli.output import as_lines, in_options
from jiggen.cli.program import colourful
from jiggen.errors import CheckFailed, Finding, JiggenError

DONE, BAD_USE, FAULT, SYSTEM, STOPPED, UNREAD = 0, 2, 70, 74, 130, 141
PROGRAM = "jiggen"
SELDOM = 100_000  # objects made before the garbage collector looks for rings among them


def collect_seldom() -> None:
    """Let the collector walk over what the CAD kernel has loaded now and then, not all the time.

    What is in no ring is freed at once all the same.  At Python's own 700 objects it took 1.2 s
    of a build's 16 s (by `gc.callbacks`), at SELDOM 0.5 s, with the same peak of memory.  Not
    for what does job after job: solids are in rings, and those of many jobs would wait in memory.
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
    _prepare_streams()
    try:
        used = defaults_for(words)
        _invoke(app, words or ["--help"], used)
        sys.stdout.flush()
    except typer.Exit as end:
        return end.exit_code
    except JiggenError as error:
        findings = [placed(finding, used, words) for finding in error.findings]
        return _report(findings, error.exit_code, words)
    except typer.TyperException as error:
        return _report([_misuse(error)], BAD_USE, words)
    except (KeyboardInterrupt, typer.Abort):
        return STOPPED
    except BrokenPipeError:
        _discard_output()
        return UNREAD
    except OSError as error:
        return _report([_refusal(error)], SYSTEM, words, trace=debug)
    except Exception as error:
        return _report([_fault(error)], FAULT, words, trace=debug)
    return DONE


def _invoke(app: typer.Typer, words: list[str], used: dict[str, Default]) -> None:
    """What `app` does when called, but without its own handling of errors."""
    command = typer.main.get_command(app)
    set_by_files = {field: default.words for field, default in used.items()}
    defaults = dict.fromkeys(getattr(command, "commands", ()), set_by_files)
    with command.make_context(PROGRAM, words, default_map=defaults) as context:
        command.invoke(context)


def _prepare_streams() -> None:
    """Let no name that the terminal's encoding lacks end the program."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure:
            reconfigure(errors="backslashreplace")


def _misuse(error: typer.TyperException) -> Finding:
    context = getattr(error, "ctx", None)
    command = context.command_path if context else PROGRAM
    return Finding("cli.use", error.format_message(), hint=f"See {command} --help.")


def _refusal(error: OSError) -> Finding:
    return Finding(
        "cli.system",
        f"operating system error: {error.strerror or error}",
        where=str(error.filename or ""),
        hint="Check the space left, the folder and your rights there, then run it again.",
    )


def _fault(error: Exception) -> Finding:
    frames = traceback.extract_tb(error.__traceback__)
    place = f"{Path(frames[-1].filename).name}:{frames[-1].lineno}" if frames else ""
    return Finding(
        "cli.fault",
        f"internal error: {type(error).__name__}: {' '.join(str(error).split())}",
        where=place,
        hint="Nothing is wrong with your input as such. --debug shows more, for a report.",
    )


def _report(
    findings: Iterable[Finding], code: int, words: list[str], *, trace: bool = False
) -> int:
    """Say what went wrong; returns `code`.  `trace` adds the traceback of what is handled."""
    if trace:
        traceback.print_exc()
    if "--json" in words:
        errors = [in_options(finding).as_dict() for finding in findings]
        typer.echo(json.dumps({"exit": code, "errors": errors}, indent=1, ensure_ascii=False))
        return code
    word = "failed" if code == CheckFailed.exit_code else "error"
    if colourful(sys.stderr):
        word = typer.style(word, fg="red", bold=True)
    for finding in findings:
        typer.echo(f"{word}: {_printable(as_lines(finding))}", err=True)
    return code


def _printable(text: str) -> str:
    """`text` with what could steer a terminal shown as an escape; line breaks stay."""
    return "".join(
        c if c.isprintable() or c == "\n" else c.encode("unicode_escape").decode() for c in text
    )


def _discard_output() -> None:
    """Keep Python from writing once more, at its end, to a pipe that nobody reads."""
    with suppress(OSError, ValueError), Path(os.devnull).open("wb") as nowhere:
        os.dup2(nowhere.fileno(), sys.stdout.fileno())
