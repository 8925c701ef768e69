"""How long a build takes beside the kernel's own floor for the same parts, and its memory.

    python tests/bench/build.py [PATTERN] [--boot 305] [--runs 3] [--evenings 1]

Prints; asserts nothing.  Every row has the median of its runs, least and most, and the median of
processor time, which tells more where others use the machine too.  Each run is a process of its
own; ratios are of neighbouring runs.

The floor is what the kernel takes without any of the rooms around it: its import; one cut of each
body's blank with all that body's tools, which are made before the clock starts; the mesh of every
part at the same tolerance; the STEP file.  It is cold in a fresh process, and warm for the next
boot length there.  A cold build is that of the command line, a warm one that of another boot in a
process that has built one; many boots are a jig that serves 81 of them.  Memory is sampled, and
what two processes share is counted in each.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

HALF = 40  # mm to either side of the boot: the 81 lengths
STEP = 5.0  # mm from one boot to the next
SKI = "84-112"
EVENING = Path(__file__).parent.parent / "data" / "evening.csv"
PAGE, TICK = os.sysconf("SC_PAGESIZE"), os.sysconf("SC_CLK_TCK")
GOALS = {"cold": 1.2, "warm": 1.3, "many": 2.5, "evening": 0.55}
Spent = tuple[float, float]  # s on the clock, s of processor


# -- in processes of their own ----------------------------------------------------------------


def family(pid: int) -> list[int]:
    """A process and all that it started and that live."""
    found = [pid]
    for path in Path(f"/proc/{pid}/task").glob("*/children"):
        try:
            found += [one for child in path.read_text().split() for one in family(int(child))]
        except OSError:
            continue
    return found


def memory_of(pid: int) -> list[float]:
    """The memory of each of a family, MB."""
    sizes = []
    for one in family(pid):
        try:
            sizes.append(int(Path(f"/proc/{one}/statm").read_text().split()[1]) * PAGE / 2**20)
        except OSError:
            continue
    return sizes


class Clock:
    """Wall and processor time in s since it was made, of this process and those it started."""

    def __init__(self) -> None:
        self._start = time.perf_counter(), self._used()

    def __call__(self) -> Spent:
        return time.perf_counter() - self._start[0], self._used() - self._start[1]

    def _used(self) -> float:
        own = time.process_time()
        for one in family(os.getpid())[1:]:
            fields = Path(f"/proc/{one}/stat").read_text().rpartition(")")[2].split()
            own += sum(map(int, fields[11:15])) / TICK  # user and system, and of its dead
        return own + sum(os.times()[2:4])


def spent(action) -> Spent:
    clock = Clock()
    action()
    return clock()


def job_of(pattern: str, boot: float, half: float = 0.0):
    from jiggen.design.settings import Settings, SkiRange
    from jiggen.job import Job
    from jiggen.pattern import find_pattern, read_pattern

    ski = SkiRange(*map(float, SKI.split("-")))
    return Job(read_pattern(find_pattern(pattern)), (boot - half, boot + half), Settings(ski=ski))


def floor(pattern: str, boot: float) -> dict[str, Spent]:
    """The kernel's part of a build, cold and warm, and beside the cuts the bodies of jiggen."""
    rows = {"cold import": spent(lambda: __import__("cadquery"))}
    from cadquery import Assembly
    from cadquery.occ_impl.exporters.assembly import exportAssembly
    from OCP.BRepMesh import BRepMesh_IncrementalMesh

    from jiggen.pipeline.products import plan_jig
    from jiggen.solid import draw_jig
    from jiggen.solid.body import body_blank, make_body, mechanical_tools
    from jiggen.solid.level import insets_of, prisms
    from jiggen.solid.model import ANGLE, SAGITTA
    from jiggen.solid.shapes import location_of, prism

    for when, length in (("cold", boot), ("warm", boot + STEP)):
        design = plan_jig(job_of(pattern, length)).design
        settings, cuts = design.settings, {}
        for body in design.bodies:
            relief = (prism(region, -1.0, settings.relief) for region in body.relief)
            engraved = prisms(insets_of(body.engravings), settings.body)
            tools = [*relief, *mechanical_tools(body, design), *engraved]
            cuts[body.name] = body_blank(body, design), tools
        parts, shapes = tuple(draw_jig(design)), {}
        copies = [part.shape.copy() for part in parts]

        def cut(cuts=cuts, shapes=shapes):
            shapes.update({name: blank.cut(*tools) for name, (blank, tools) in cuts.items()})

        def mesh(copies=copies):
            for shape in copies:
                BRepMesh_IncrementalMesh(shape.wrapped, SAGITTA, False, ANGLE, True)

        def write(parts=parts, shapes=shapes):
            whole = Assembly(name="jig")
            for part in parts:
                for placed in part.piece.placed:
                    shape = shapes.get(part.name, part.shape)
                    whole.add(shape, name=placed.name, loc=location_of(placed.pose))
            with tempfile.TemporaryDirectory() as folder:
                exportAssembly(whole, f"{folder}/jig.step", write_pcurves=False)

        rows |= {f"{when} cut": spent(cut), f"{when} mesh": spent(mesh)}
        rows[f"{when} STEP"] = spent(write)
        bodies = spent(lambda d=design: [make_body(body, d) for body in d.bodies])
        rows[f"{when} bodies as jiggen makes them"] = bodies
    return rows


def stage_of(step: str) -> str:
    """What the announced steps of all parts are together."""
    if step.startswith("solid"):
        return "solid"
    return "files: meshes, STL" if step.endswith(".stl") else step


def builds(pattern: str, boot: float) -> dict[str, Spent]:
    """A first jig, another and one for many boots, as the program builds them, by their stages."""
    from jiggen.cli import collect_seldom

    collect_seldom()
    from jiggen.pipeline.evening import load_kernel
    from jiggen.progress import announcing_to

    rows = {"first: import": spent(load_kernel)}
    from jiggen.pipeline.products import build_jig

    jobs = {
        "first": job_of(pattern, boot),
        "warm": job_of(pattern, boot + STEP),
        "many": job_of(pattern, boot, HALF),
    }
    for what, job in jobs.items():
        stages: dict[str, float] = defaultdict(float)
        now = ["before", time.perf_counter()]

        def heard(step: str, stages=stages, now=now) -> None:
            stages[now[0]] += time.perf_counter() - now[1]
            now[:] = stage_of(step), time.perf_counter()

        with tempfile.TemporaryDirectory() as folder, announcing_to(heard):
            rows[what] = spent(lambda job=job, at=folder: build_jig(job, Path(at) / "jig"))
            heard("after")
        del stages["before"]
        rows |= {f"{what}: {stage}": (wall, 0.0) for stage, wall in stages.items()}
    return rows


def checks(folder: str) -> dict[str, Spent]:
    """The verification of a folder from its files alone, as `check` makes it, and once more."""
    from jiggen.verify import check

    rows = {}
    for when in ("first", "again"):
        clock = Clock()
        found = check(Path(folder))
        rows[when] = clock()
        assert found.passed, found.faults
    return rows


# -- here -----------------------------------------------------------------------------------------


def apart(task, *words) -> dict[str, Spent]:
    """What a function of this file finds in a process of its own."""
    command = [sys.executable, __file__, "--measure", task.__name__, *map(str, words)]
    run = subprocess.run(command, stdout=subprocess.PIPE, check=True)
    return {name: tuple(row) for name, row in json.loads(run.stdout).items()}


def program(*words: str) -> tuple[Spent, float, float]:
    """The program's time, and in MB the most memory of one of its processes and of all at once."""
    before, one, every = os.times(), 0.0, 0.0
    start = time.perf_counter()
    with subprocess.Popen(
        [sys.executable, "-m", "jiggen", *words], stdout=subprocess.DEVNULL
    ) as running:
        while running.poll() is None:
            sizes = memory_of(running.pid)
            one, every = max([one, *sizes]), max(every, sum(sizes))
            time.sleep(0.02)
    wall, after = time.perf_counter() - start, os.times()
    assert running.returncode == 0, words
    return (wall, sum(after[2:4]) - sum(before[2:4])), one, every


class Table:
    """Rows of values from several runs, printed by their medians."""

    def __init__(self) -> None:
        self.rows: dict[str, list[Spent]] = defaultdict(list)
        self.memory: dict[str, list[Spent]] = defaultdict(list)

    def add(self, prefix: str, rows: dict[str, Spent]) -> None:
        for name, row in rows.items():
            self.rows[prefix + name].append(row)

    def built(self, name: str, *words: str) -> None:
        """Run the program and keep its time and memory."""
        taken, one, every = program(*words)
        self.rows[name].append(taken)
        self.memory[name].append((one, every))

    def sum(self, name: str, *of: str) -> None:
        columns = zip(*(self.rows[one] for one in of), strict=True)
        self.rows[name] = [tuple(map(sum, zip(*column, strict=True))) for column in columns]

    def show(self, name: str, label: str = "") -> None:
        walls, busy = zip(*self.rows[name], strict=True)
        cpu = f"{statistics.median(busy):8.2f} s cpu" if any(busy) else ""
        print(f"{label or name:<44}{spread(walls)} s{cpu}")

    def ratio(self, label: str, name: str, beside: str, goal: str) -> None:
        """Of neighbouring runs, by the clock and by the processor."""
        both = list(zip(self.rows[name], self.rows[beside], strict=True))
        walls, busy = ([a[n] / b[n] for a, b in both] for n in (0, 1))
        met = "reached" if statistics.median(walls) <= GOALS[goal] else "not reached"
        cpu = f"{statistics.median(busy):8.2f}   cpu"
        print(f"{label:<44}{spread(walls)}  {cpu}   goal {GOALS[goal]}: {met}")


def spread(values) -> str:
    return f"{statistics.median(values):8.2f} ({min(values):.2f} to {max(values):.2f})"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("pattern", nargs="?", default="club-piste")
    parser.add_argument("--boot", type=float, default=305.0)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--evenings", type=int, default=1, help="0 for none")
    wanted = parser.parse_args()
    name, boot, table = wanted.pattern, wanted.boot, Table()
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}, {wanted.runs} runs", flush=True)
    many = f"{boot - HALF:g}-{boot + HALF:g}"
    for _ in range(wanted.runs):
        with tempfile.TemporaryDirectory() as folder:
            one = ("build", name, "--boot", f"{boot:g}", "--ski", SKI, "--out", f"{folder}/one")
            table.built("cold", *one)
            table.add("floor: ", apart(floor, name, boot))
            table.add("", apart(builds, name, boot))
            table.built("cold, many boots", *one[:3], many, *one[4:7], f"{folder}/many")
            for what in ("one", "many"):
                table.add(f"check of {what}, ", apart(checks, f"{folder}/{what}"))
    for when, parts in (
        ("cold", ("import", "cut", "mesh", "STEP")),
        ("warm", ("cut", "mesh", "STEP")),
    ):
        table.sum(f"floor {when}", *(f"floor: {when} {part}" for part in parts))
    for _ in range(wanted.evenings):
        for workers in ("1", "2"):
            with tempfile.TemporaryDirectory() as folder:
                words = (
                    "evening",
                    str(EVENING),
                    "--out",
                    f"{folder}/evening",
                    "--workers",
                    workers,
                )
                table.built(f"evening on {workers}", *words)
    told(table, wanted.evenings)


def told(table: Table, evenings: int) -> None:
    """Print it all."""
    print("\nstages in a fresh process, of another boot there, and of many boots")
    for row in [row for row in table.rows if row.startswith(("first", "warm", "many"))]:
        table.show(row)
    print("\nthe kernel's floor for the same parts")
    for row in [row for row in table.rows if row.startswith("floor")]:
        table.show(row)
    print("\nverification by itself")
    for row in [row for row in table.rows if row.startswith("check")]:
        table.show(row)
    print("\nthe program, and its memory: one process, all together")
    for row, sizes in table.memory.items():
        table.show(row)
        print(f"{'':<44}" + ", ".join(f"{spread(each)} MB" for each in zip(*sizes, strict=True)))
    print("\nratios")
    table.ratio("cold build / cold floor", "cold", "floor cold", "cold")
    table.ratio("warm build / warm floor", "warm", "floor warm", "warm")
    table.ratio("many boots / one, by the program", "cold, many boots", "cold", "many")
    table.ratio("many boots / one, warm", "many", "warm", "many")
    if evenings:
        table.ratio(
            "an evening on two processes / on one", "evening on 2", "evening on 1", "evening"
        )
    print(f"load at the end {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--measure"]:
        task, *words = sys.argv[2:]
        given = words if task == "checks" else (words[0], float(words[1]))
        print(json.dumps({"floor": floor, "builds": builds, "checks": checks}[task](*given)))
    else:
        main()
