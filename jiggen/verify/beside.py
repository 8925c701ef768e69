"""The verifier in a process of its own: it sees the files that were written, and nothing else.

It reads requests from its standard input and answers each on its standard output, pickled both.
When the input ends, with the process that started it, it ends too, whatever it is doing.  Files are
read as soon as they are there; what was read of them is used as long as they have the very same
bytes.
"""

import os
import pickle
import sys
from contextlib import suppress
from importlib import import_module
from pathlib import Path
from queue import SimpleQueue
from threading import Thread
from typing import Any, BinaryIO

from jiggen.errors import InputError
from jiggen.verify.reading import memory

NEEDED = (
    "trimesh",
    "jiggen.verify.verification",
    "jiggen.verify.papers",
    *("fontTools.ttLib", "lib3mf", "pypdf", "scipy.interpolate"),  # which these load at need
)


def read_ahead(path: Path) -> None:
    """Read a part's or the jig's file; what is wrong with it is found when it is judged."""
    from jiggen.verify.printing import shape_checks
    from jiggen.verify.reading.mesh import read_stl
    from jiggen.verify.reading.step_assembly import read_assembly

    with suppress(OSError, ValueError):
        if path.suffix == ".stl":
            shape_checks(read_stl(path))  # it remembers them by the mesh
        else:
            read_assembly(path)


def verify(folder: Path) -> Any:
    """As `verify_folder`; what was read ahead is dropped."""
    from jiggen.verify.verification import verify_folder

    try:
        return verify_folder(folder)
    finally:
        memory.forget()


def verify_paper(folder: Path, name: str) -> Any:
    """As `verify_papers` for one of them."""
    from jiggen.verify.papers import verify_papers

    return verify_papers(folder, (name,))


def judge_ahead(folder: Path) -> None:
    """Make the checks of `folder` that can be made; what is wrong with it is found afterwards."""
    from jiggen.verify.verification import judge_ahead

    with suppress(InputError):
        judge_ahead(folder)


Request = tuple[str, tuple[Any, ...]]
"""The name of one of `REQUESTS`, and its arguments."""
AHEAD = (read_ahead, judge_ahead)  # nobody waits for these
REQUESTS = {one.__name__: one for one in (*AHEAD, verify, verify_paper)}


def main() -> None:
    """Answer requests until there are no more: (name, arguments) by (value, error)."""
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # what a library prints is no answer
    memory.keep()
    requests = SimpleQueue[Request]()
    Thread(target=_listen, args=(sys.stdin.buffer, requests), daemon=True).start()
    _load()
    with answers, suppress(BrokenPipeError):
        serve(requests, answers)


def _listen(asked: BinaryIO, requests: "SimpleQueue[Request]") -> None:
    """Put what is asked into `requests`; at its end, end the process, which nobody waits for."""
    with suppress(EOFError, pickle.UnpicklingError):  # the latter: killed while it asked
        while True:
            requests.put(pickle.load(asked))
    os._exit(0)


def serve(requests: "SimpleQueue[Request]", answers: BinaryIO) -> None:
    """Answer every request."""
    while True:
        name, arguments = requests.get()
        try:
            answer: tuple[Any, Exception | None] = (REQUESTS[name](*arguments), None)
        except Exception as error:
            answer = (None, error)
        if REQUESTS[name] not in AHEAD:
            pickle.dump(answer, answers)
            answers.flush()


def _load() -> None:
    """Load what verification needs while there is nothing to verify."""
    for name in NEEDED:
        import_module(name)
