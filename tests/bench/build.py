"""Build time by room, beside one multi-tool cut of the same bodies; an extra boot length; memory.

    python tests/bench/build.py [PATTERN] [--boot 305]

Prints; asserts nothing. Each line has the time on the clock and that of the processor, which
tells more where others use the machine too. The single cut is the kernel's own: a body's blank
and every tool, without any of the rooms around it. An extra length is the next jig of the same
pattern in a process that has built one, as a batch builds it; on a reusable jig it is a line
more of its ladders, with its verification.
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from jiggen.cli import collect_seldom

BORN = time.perf_counter()
FEW, MANY = 2, 40  # mm of boot length to either side, of the reusable jigs compared


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
    from jiggen.design import Settings, SkiRange, design_jig
    from jiggen.layout import lay_out
    from jiggen.pattern import find_pattern, read_pattern
    from jiggen.pipeline.products import expect

    pattern = timed("pattern", lambda: read_pattern(find_pattern(name)))
    holes = timed("layout", lambda: lay_out(pattern, boot))
    jig = timed("design", lambda: design_jig(holes, Settings(ski=SkiRange(84, 112))))
    timed("accuracy", lambda: expect(jig))
    solid = timed("import of the CAD kernel", lambda: __import__("jiggen.solid").solid)
    model = timed("solid", lambda: solid.build_jig_model(jig))
    from jiggen.export.write import write_parts

    with tempfile.TemporaryDirectory() as folder_name:
        folder = Path(folder_name)
        settings = jig.settings
        timed(
            "parts written",
            lambda: write_parts(model, settings.bed, folder),
        )
    show("all of these", whole())
    from jiggen.job import Job
    from jiggen.pipeline.products import build_jig

    job = Job(pattern, (boot, boot), Settings(ski=SkiRange(84, 112)))
    with tempfile.TemporaryDirectory() as place:
        built = timed("whole build", lambda: build_jig(job, Path(place) / "jig"))
    print(f"verification passed: {built.verification.passed}")
    print()
    bodies(jig)


def bodies(jig) -> None:
    """Each body as it is made against one cut of its blank, best of three each."""
    from jiggen.solid.body import body_blank, make_body, mechanical_tools
    from jiggen.solid.level import insets_of, prisms
    from jiggen.solid.shapes import prism

    for body in jig.bodies:
        blank, engraved = (
            body_blank(body, jig),
            prisms(insets_of(body.engravings), jig.settings.body),
        )
        relief = (prism(region, -1.0, jig.settings.relief) for region in body.relief)
        tools = [*relief, *mechanical_tools(body, jig), *engraved]
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


def measured(job):
    """In a batch's process: what it had used before this job, and what the job takes."""
    from batches import build_one

    before, clock = (time.perf_counter() - BORN, time.process_time()), Clock()
    build_one(job)
    return before, clock()


def extra_length(name: str, boot: float) -> None:
    """A first jig, two more lengths, and two reusable jigs, on one process as a batch does them."""
    from batches import JigJob, prepare

    from jiggen.design.settings import Settings, SkiRange
    from jiggen.executors import OwnProcesses, do_all
    from jiggen.job import Job
    from jiggen.pattern import find_pattern, read_pattern

    pattern, settings = read_pattern(find_pattern(name)), Settings(ski=SkiRange(84, 112))
    with tempfile.TemporaryDirectory() as folder:
        jobs = [
            JigJob(f"{b:g}", Job(pattern, (b, b), settings), Path(folder, f"{b:g}"))
            for b in (boot, boot + 5, boot + 10)
        ]
        reusable = [
            JigJob(
                f"within {half}",
                Job(pattern, (boot - half, boot + half), settings),
                Path(folder, f"within {half}"),
            )
            for half in (FEW, MANY)
        ]
        with OwnProcesses(1, prepare) as executor:
            done = [one.value for one in do_all(measured, [*jobs, *reusable], executor)]
    (load, first), *more = done[: len(jobs)]
    (_, few), (_, many) = done[len(jobs) :]
    extra = min((spent for _, spent in more), key=lambda both: both[1])
    lines = 2 * (MANY - FEW)
    line = (many[0] - few[0]) / lines, (many[1] - few[1]) / lines
    show("first jig, start and import", load)
    show("first jig, build with sheet and page", first)
    show("an extra boot length", extra)
    for what, wall, cpu in (
        ("with", load[0] + first[0], load[1] + first[1]),
        ("without", *first),
    ):
        ratios = f"{extra[0] / wall:.2f}, {extra[1] / cpu:.2f} cpu"
        print(f"  ratio to the first {what} start and import: {ratios}")
    show(f"a reusable jig of {2 * MANY + 1} lengths", many)
    show(
        "a length more on a reusable jig",
        line,
        f", ratio to the first {line[1] / first[1]:.3f} cpu",
    )


CHECKING = """
import re, sys, time
from pathlib import Path
from jiggen.verify import check
for what in ("first", "again"):
    wall, cpu = time.perf_counter(), time.process_time()
    found = check(Path(sys.argv[1]))
    print(time.perf_counter() - wall, time.process_time() - cpu, found.passed, found.checks)
# What rusage tells would be at least what the bench itself has used: it is kept across exec.
print(int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1]) / 1024)
"""


def verifications(name: str, boot: float) -> None:
    """The verification of a jig and of one for many boots, each in a process of its own."""
    from jiggen.design.settings import Settings, SkiRange
    from jiggen.job import Job
    from jiggen.pattern import find_pattern, read_pattern
    from jiggen.pipeline.products import build_jig

    pattern, settings = read_pattern(find_pattern(name)), Settings(ski=SkiRange(84, 112))
    for what, half in (("a jig", 0), (f"a jig of {2 * MANY + 1} lengths", MANY)):
        with tempfile.TemporaryDirectory() as place:
            job = Job(pattern, (boot - half, boot + half), settings)
            folder = build_jig(job, Path(place) / "jig").folder
            command = [sys.executable, "-c", CHECKING, str(folder)]
            run = subprocess.run(command, capture_output=True, text=True, check=True)
        *lines, peak = run.stdout.splitlines()
        for when, line in zip(("its first, with imports", "again"), lines, strict=True):
            wall, cpu, passed, checks = line.split()
            more = f", {checks} checks, passed: {passed}"
            show(f"check of {what}, {when}"[:60].ljust(60), (float(wall), float(cpu)), more)
        print(f"  peak memory {float(peak):.0f} MB")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("pattern", nargs="?", default="club-piste")
    parser.add_argument("--boot", type=float, default=305.0)
    wanted = parser.parse_args()
    collect_seldom()  # as the program does
    rooms(wanted.pattern, wanted.boot)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{'peak memory':<36}{peak:8.0f} MB\n")
    extra_length(wanted.pattern, wanted.boot)
    print()
    verifications(wanted.pattern, wanted.boot)


if __name__ == "__main__":
    main()
