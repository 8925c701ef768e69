"""Every regular expression of the package on long texts of what repeats: prints the slow ones.

Run by itself: a pattern that goes back over its text again and again is stopped by a signal.
"""

from __future__ import annotations

import ast
import importlib
import itertools
import re
import signal
import time
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
LONG = 4_000  # characters: 20 ms and more where time goes by their square, else 1 ms
LIMIT = 0.012  # s of the processor
REPEATED = (
    *(" ", "\t", "\n", "1", "a", "A", "_", '"', "'", "\\", "/", ".", ",", "-", ";", "#", "<", "("),
    *("1.", "1 ", "a ", "a-", "a:", "a.", " a", "a(", "/*", '""', "'a", "(a", "<00>", "#1", "A1"),
    *('="', ' a="', "X1", "\\X\\00", "1,1", "x ", "{", "[", "DATA;", "N1", "$,", "1e", "/A", "÷"),
)
BEFORE = ("", "a", '"', "1", "ISO-10303-21;HEADER;")
METHODS = ("search", "match", "fullmatch", "finditer", "findall", "split", "sub", "scanner")
KNOWN_LOCAL = {  # patterns that are put together in a function
    "jiggen/export/folder.py",  # of names that the system gives
    "jiggen/verify/reading/step_columns.py",
    "jiggen/verify/reading/step_text.py",
}
OWN = {"jiggen/export/write.py"}  # for the CAD kernel's text alone, and loads it


class Slow(Exception):  # noqa: N818 - it is told
    """The pattern took longer than it may."""


def patterns() -> Iterator[tuple[str, re.Pattern[str] | re.Pattern[bytes], set[str]]]:
    """Each pattern: where it stands, and the methods it is used by."""
    trees = {path: ast.parse(path.read_text()) for path in sorted((ROOT / "jiggen").rglob("*.py"))}
    used: dict[str, set[str]] = {}
    for node in (node for tree in trees.values() for node in ast.walk(tree)):
        if isinstance(node, ast.Attribute) and node.attr in METHODS:
            name = ast.unparse(node.value).rpartition(".")[2]
            used.setdefault(name, set()).add(node.attr)
    for path, tree in trees.items():
        where = path.relative_to(ROOT).as_posix()
        if where in OWN:
            continue
        named = (part for part in tree.body if isinstance(part, ast.Assign | ast.AnnAssign))
        outer = {node for part in named for node in ast.walk(part)}
        calls = [node for node in ast.walk(tree) if _is_of_re(node)]
        if any(call in outer for call in calls):
            dotted = where.removesuffix(".py").removesuffix("/__init__").replace("/", ".")
            module = importlib.import_module(dotted)
            for name, value in vars(module).items():
                if isinstance(value, re.Pattern):
                    yield f"{where} {name}", value, used.get(name, {"match"})
        for call in (call for call in calls if call not in outer):
            if isinstance(call.args[0], ast.Constant):
                method = call.func.attr
                yield f"{where}:{call.lineno}", re.compile(call.args[0].value), {method}
            elif isinstance(call.args[0], ast.Name):  # a pattern's text, named in the module
                continue
            elif where not in KNOWN_LOCAL:
                print(f"{where}:{call.lineno} is put together in a function: name it")


def _is_of_re(node: ast.AST) -> bool:
    match node:
        case ast.Call(func=ast.Attribute(value=ast.Name(id="re"), attr=name)):
            return name in (*METHODS, "compile")
    return False


def tried(pattern: re.Pattern, method: str, text: str) -> float:
    """Seconds of the processor that `pattern` takes for `text`."""
    data = text if isinstance(pattern.pattern, str) else text.encode("latin-1")
    start = time.process_time()
    if method == "sub":
        pattern.sub(data[:0], data)
    elif method in ("finditer", "scanner"):
        for _ in pattern.finditer(data):
            pass
    else:
        getattr(pattern, method)(data)
    return time.process_time() - start


def main() -> None:
    def stop(*_: object) -> None:
        raise Slow

    signal.signal(signal.SIGPROF, stop)
    count = 0
    planted = ("planted", re.compile(r"\s+x"), {"search"})  # must be told
    for where, pattern, methods in (planted, *patterns()):
        count += 1
        for method, before, part in itertools.product(sorted(methods), BEFORE, REPEATED):
            text = before + part * (LONG // len(part)) + "\x01"
            seconds = 0.0
            for _ in range(3):  # what else the machine does may hold it up
                signal.setitimer(signal.ITIMER_PROF, 20 * LIMIT)
                try:
                    seconds = tried(pattern, method, text)
                except Slow:
                    seconds = 20 * LIMIT
                signal.setitimer(signal.ITIMER_PROF, 0)
                if seconds <= LIMIT:
                    break
            if seconds > LIMIT:
                print(f"{where} .{method}: {before!r} and many {part!r}: {seconds:.2f} s")
                break
    print(f"{count} patterns")


if __name__ == "__main__":
    main()
