"""The verifier's process: started before anything is drawn, so that it is ready when files are."""

from __future__ import annotations

import atexit
import os
import pickle
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, ClassVar, Protocol

from jiggen.cores import processes_enough
from jiggen.errors import CheckFailed, Finding
from jiggen.files import PAPERS
from jiggen.outcome import Fault, Verification

_KEPT: list[Process] = []  # one that waits for the next build


class Witness(Protocol):
    """Verifies a folder, while other things are done or when its answer is asked for."""

    ahead: ClassVar[bool]  # whether it does anything before its answer is asked for

    def read_ahead(self, path: Path) -> None:
        """Read a file that is written whole."""

    def judge_ahead(self, folder: Path) -> None:
        """Make the checks for which the record and the parts' STL files in `folder` are enough."""

    def begin(self, folder: Path) -> None:
        """Verify `folder`; `verification` has what was found."""

    def verification(self) -> Verification:
        """What was found in the folder.  Raises as `verify_folder`, and CheckFailed."""

    def begin_paper(self, folder: Path, name: str) -> None:
        """Verify the sheet or the page in `folder`; `papers` has what was found."""

    def papers(self, folder: Path) -> tuple[Fault, ...]:
        """What is wrong with the sheet and the page that are in `folder`.  Raises CheckFailed."""


@contextmanager
def witness() -> Iterator[Witness]:
    """A witness for one build: a process of its own, unless there are enough of them."""
    found = None if processes_enough() else _kept() or _started()
    if found is None:
        yield Here()
        return
    try:
        yield found
    except BaseException:
        found.end()
        raise
    if found.at_rest and not _KEPT:
        _KEPT.append(found)
    else:
        found.end()


def _kept() -> Process | None:
    """The one that waits, if it lives."""
    found = _KEPT.pop() if _KEPT else None
    return found if found and found.at_rest else None


def _started() -> Process | None:
    """A new one; None where the system has no more processes, or no memory for one."""
    with suppress(OSError):
        return Process()
    return None


@atexit.register
def end_kept() -> None:
    """End the process that waits for another build."""
    while _KEPT:
        _KEPT.pop().end()


class Here:
    """Verifies in this process, when it is asked."""

    ahead: ClassVar[bool] = False

    def __init__(self) -> None:
        self._folder = Path()

    def read_ahead(self, path: Path) -> None:
        """Nothing: it would not be any earlier."""

    def judge_ahead(self, folder: Path) -> None:
        """Nothing, likewise."""

    def begin(self, folder: Path) -> None:
        """Note the folder."""
        self._folder = folder

    def verification(self) -> Verification:
        """What is found in it."""
        from jiggen.verify import verify_folder

        return verify_folder(self._folder)

    def begin_paper(self, folder: Path, name: str) -> None:
        """Nothing, likewise."""

    def papers(self, folder: Path) -> tuple[Fault, ...]:
        """What is wrong with them."""
        from jiggen.verify import verify_papers

        return verify_papers(folder)


class Process:
    """A process that verifies folders.  Requests are answered in order."""

    ahead: ClassVar[bool] = True

    def __init__(self) -> None:
        os.environ.setdefault("LP_NUM_THREADS", "1")  # the picture's: the other core is at work
        path = [str(Path(entry).absolute()) for entry in sys.path]
        self._begun: list[str] = []  # papers it has been asked for
        self._owed = 0  # answers
        code = f"import sys; sys.path[:] = {path!r}; from jiggen.verify.beside import main; main()"
        self.process = subprocess.Popen(
            [sys.executable, "-c", code],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            # This process decides what ^C means.
            start_new_session=True,
            creationflags=getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0),  # Windows' way
        )

    @property
    def at_rest(self) -> bool:
        """Whether it lives and owes no answer: the next one is to the next question."""
        return self.process.poll() is None and not self._owed

    def read_ahead(self, path: Path) -> None:
        """Have it read a file that is written whole."""
        self._ask("read_ahead", path.absolute())

    def judge_ahead(self, folder: Path) -> None:
        """Have it make the checks that need no other files than those that are there."""
        self._ask("judge_ahead", folder.absolute())

    def begin(self, folder: Path) -> None:
        """Have it verify `folder`; `verification` waits for what it found."""
        self._ask("verify", folder.absolute())
        self._owed += 1

    def begin_paper(self, folder: Path, name: str) -> None:
        """Have it verify the sheet or the page; `papers` waits for what it found."""
        self._ask("verify_paper", folder.absolute(), name)
        self._begun.append(name)
        self._owed += 1

    def verification(self) -> Verification:
        """What was found in the folder asked for.  Raises as `verify_folder`, and CheckFailed."""
        found: Verification = self._answer()
        return found

    def papers(self, folder: Path) -> tuple[Fault, ...]:
        """What is wrong with those in `folder`, begun or not.  Raises CheckFailed."""
        for name in PAPERS:
            if name not in self._begun and (folder / name).exists():
                self.begin_paper(folder, name)
        begun, self._begun = self._begun, []
        return tuple(fault for _ in begun for fault in self._answer())

    def end(self) -> None:
        """End it, whatever it is doing."""
        self.process.kill()
        for stream in (self.process.stdin, self.process.stdout):
            with suppress(OSError):
                stream.close()  # type: ignore[union-attr]
        self.process.wait()

    def _ask(self, name: str, *arguments: Any) -> None:
        assert self.process.stdin
        try:
            pickle.dump((name, arguments), self.process.stdin)
            self.process.stdin.flush()
        except OSError:
            raise self._ended() from None

    def _answer(self) -> Any:
        assert self.process.stdout
        try:
            value, error = pickle.load(self.process.stdout)
        except (EOFError, pickle.UnpicklingError):
            raise self._ended() from None
        self._owed -= 1
        if error is not None:
            raise error
        return value

    def _ended(self) -> CheckFailed:
        """That it is gone, and how."""
        self.end()
        code = self.process.returncode
        how = f"by signal {-code}" if code < 0 else f"with exit code {code}"
        message = f"the process that verifies the files ended {how}; nothing was kept"
        hint = "Perhaps out of memory: close other programs, then build it again."
        return CheckFailed(Finding("verify.process-ended", message, hint=hint))
