"""Build time by room, beside one multi-tool cut of the same bodies; an extra boot length; memory.

    python tests/bench/build.py [PATTERN] [--boot 305]

Prints; asserts nothing. Each line has the time on the clock and that of the processor, which
tells more where others use the machine too. The single cut is the kernel's own: a body's blank
and every tool, without any of the rooms around it. An extra length is the next jig of the same
pattern in a process that has built one; the first has a process of its own.
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import tempfile
import time
from pathlib import Path


class Clock:
    """Wall and processor time in s since it was made."""

    def __init__(self) -> None:
        self._wall, self._cpu = time.perf_counter(), time.process_time()

    def __call__(self) -> tuple[float, float]:
        return time.perf_counter() - self._wall, time.process_time() - self._cpu


def show(label: str, spent: tuple[float, float], more: str = "") -> None:
    wall, cpu = spent
    print(f"{label:<36}{wall:8.2f} s{cpu:8.2f} s cpu{more}", flush=True)


def timed(label, action):
    clock = Clock()
    result = action()
    show(label, clock())
    return result


def rooms(name: str, boot: float) -> None:
    """One build, room by room."""
    whole = Clock()
    from jiggen.design import Settings, SkiRange, design
    from jiggen.layout import layout
    from jiggen.pattern import find_pattern, read_pattern
    from jiggen.report.expect import expect

    pattern = timed("pattern", lambda: read_pattern(find_pattern(name)))
    holes = timed("layout", lambda: layout(pattern, boot))
    jig = timed("design", lambda: design(holes, Settings(ski=SkiRange(84, 112))))
    timed("accuracy", lambda: expect(jig))
    solid = timed("import of the CAD kernel", lambda: __import__("jiggen.solid").solid)
    model = timed("solid", lambda: solid.build(jig))
    from jiggen.export import listing, write_manifest
    from jiggen.export.write import write_files
    from jiggen.verify import prove

    with tempfile.TemporaryDirectory() as folder_name:
        folder = Path(folder_name)
        manifest = timed("export", lambda: write_files(jig, model, folder))
        manifest["files"] = listing(folder)
        write_manifest(folder, manifest)
        proof = timed("verify", lambda: prove(folder))
    show("whole build but sheet and page", whole(), f", proof passed: {proof.passed}")
    print()
    bodies(jig)


def bodies(jig) -> None:
    """Each body as it is made against one cut of its blank, best of three each."""
    from jiggen.solid.body import body_blank, body_cutters, make_body

    for body in jig.bodies:
        blank, tools = body_blank(body, jig), list(body_cutters(body, jig))
        own = least(lambda body=body: make_body(body, jig))
        cut = least(lambda blank=blank, tools=tools: blank.cut(*tools))
        show(f"{body.name}, all of it", own)
        show(f"{body.name}, one {len(tools)}-tool cut", cut, f", ratio {own[1] / cut[1]:.2f} cpu")


def least(action) -> tuple[float, float]:
    spent = []
    for _ in range(3):
        clock = Clock()
        action()
        spent.append(clock())
    return min(spent, key=lambda both: both[1])


def lengths(name: str, boot: float) -> list[tuple[float, float]]:
    """In a fresh process: the import, a first jig whole, and two more lengths."""
    clock = Clock()
    from jiggen.design import Settings, SkiRange
    from jiggen.layout import layout
    from jiggen.pattern import find_pattern, read_pattern
    from jiggen.report.job import build_jig

    spent = [clock()]
    pattern = read_pattern(find_pattern(name))
    with tempfile.TemporaryDirectory() as folder:
        for number in range(3):
            clock = Clock()
            target = Path(folder, str(number))
            build_jig(layout(pattern, boot + 5 * number), Settings(ski=SkiRange(84, 112)), target)
            spent.append(clock())
    return spent


def extra_length(name: str, boot: float) -> None:
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        load, first, *more = pool.apply(lengths, (name, boot))
    extra = min(more, key=lambda both: both[1])
    show("first jig, import", load)
    show("first jig, build with sheet and page", first)
    show("an extra boot length", extra)
    for what, base in (("with", load[1] + first[1]), ("without", first[1])):
        print(f"  ratio to the first {what} import: {extra[1] / base:.2f} cpu")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("pattern", nargs="?", default="club-piste")
    parser.add_argument("--boot", type=float, default=305.0)
    wanted = parser.parse_args()
    rooms(wanted.pattern, wanted.boot)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{'peak memory':<36}{peak:8.0f} MB\n")
    extra_length(wanted.pattern, wanted.boot)


if __name__ == "__main__":
    main()
