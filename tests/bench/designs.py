"""Which jobs a jig is served for, and why others are refused: designs without a solid.

    python tests/bench/designs.py [--bed 220] [--only NAME] [--workers 2] [--why] [--json]
    python tests/bench/designs.py --nested 512 [--seed 1]

Each of 12 patterns for two single boots and one range of them, on 6 ranges of skis and 4 beds, is
planned as `build` plans it before anything is drawn.  Prints the served by bed and ski range, and
the refused by the code of their findings.  With --nested so many random pairs of jobs, one within
the other, are compared instead: what is served for the wider one must be for the narrower.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

BEDS = (180.0, 220.0, 256.0, 350.0)
SKIS = ((62.0, 72.0), (66.0, 85.0), (70.0, 98.0), (84.0, 112.0), (95.0, 125.0), (105.0, 140.0))
JOBS = (  # shortest and longest boot, core, mount shift
    (285.0, 285.0, "plain", 0.0),
    (325.0, 325.0, "metal", -8.0),
    (285.0, 325.0, "plain", 0.0),
)
SMALLER = 45.0  # mm that juniors' boots are shorter by

# Beside the shipped patterns.  Of each group: name, datum, shift, and holes at (x, y), which are
# on both sides where y is not 0.  All are invented.
OTHERS = {
    "Long Plate": (
        ("front", "boot-centre", 150.0, ((52.3, 21.2), (-8.4, 18.3), (-71.9, 20.6))),
        ("rear", "boot-centre", -150.0, ((73.1, 20.6), (9.2, 18.3), (-51.4, 21.2))),
    ),
    "Touring": (
        ("toe", "boot-toe", -16.3, ((13.9, 14.7), (-21.2, 15.9), (-47.3, 0.0))),
        ("heel", "boot-heel", 3.1, ((33.4, 13.2), (-29.7, 15.4))),
    ),
    "Junior": (
        ("toe", "boot-toe", -13.2, ((11.6, 15.8), (-22.9, 17.7))),
        ("heel", "boot-heel", 6.3, ((21.3, 13.9), (-17.2, 16.6))),
    ),
    "Near the Mark": (
        ("middle", "boot-centre", 0.0, ((61.7, 17.9), (31.2, 0.0), (0.0, 0.0), (-57.3, 16.4))),
    ),
    "Mixed": (
        ("toe", "boot-toe", -12.7, ((16.1, 20.7), (-25.3, 16.9))),
        ("brake", "boot-centre", -96.0, ((7.2, 0.0),)),
        ("heel", "boot-heel", 8.4, ((-9.6, 19.4), (-31.8, 17.1))),
    ),
}
SHIPPED = (
    "club-piste", "hut-plate", "old-inch", "skew-plate", "step-track", "sledge-foot", "free-heel"
)  # fmt: skip


def patterns():
    """The 12 patterns by name."""
    from jiggen.pattern import find_pattern, read_pattern

    made = {name: read_pattern(find_pattern(name)) for name in SHIPPED}
    with tempfile.TemporaryDirectory() as folder:
        for name, groups in OTHERS.items():
            path = Path(folder) / "pattern.toml"
            path.write_text(toml_of(name, groups), encoding="utf-8")
            made[name] = read_pattern(path)
    return made


def toml_of(name, groups):
    """A pattern file."""
    lines = ["format = 1", f'name = "{name}"', "[drill]"]
    lines += ["diameter = { plain = 3.6, metal = 4.1 }", "depth = 9.0"]
    for group, datum, shift, holes in groups:
        lines += ["[[group]]", f'name = "{group}"', f'datum = "{datum}"', f"shift = {shift}"]
        for x, y in holes:
            lines += ["[[group.hole]]", f"at = [{x}, {y}]", f"both_sides = {str(y > 0).lower()}"]
    return "\n".join(lines) + "\n"


def load():
    """What every process needs."""
    import jiggen.pipeline.products  # noqa: F401


def refusal(task):
    """The codes for which `build` refuses a job before it draws anything; of one, all codes."""
    from jiggen.errors import JiggenError
    from jiggen.pipeline.products import plan_jig

    start = time.process_time()
    try:
        plan_jig(task[-1])
    except JiggenError as error:
        found = [(finding.code, str(finding)) for finding in error.findings]
        return found, time.process_time() - start
    return [], time.process_time() - start


def compare(pair):
    """Whether the wider of two jobs is served, and what the narrower is refused for."""
    from jiggen.job import obstacles

    wide, narrow = pair
    if any(True for _ in obstacles(wide, moving=False)):
        return False, []
    return True, [str(found) for found in obstacles(narrow, moving=False)]


def compare_nested(seed, count, workers):
    """Print which of `count` random jobs are refused within a wider one that is served."""
    from jiggen.executors import OwnProcesses, do_all

    sys.path.insert(0, str(Path(__file__).parent.parent))
    from nested import nested_pairs

    served = refused = 0
    with OwnProcesses(workers, load) as executor:
        for done in do_all(compare, list(nested_pairs(seed, count)), executor):
            served_wide, faults = done.value or (True, list(map(str, done.findings)))
            served, refused = served + served_wide, refused + bool(faults)
            if faults:
                wide, narrow = done.job
                bed = wide.settings.bed.x
                print(f"{wide.pattern.name}, shift {wide.shift:g}, {wide.core}, bed {bed:g}:")
                print(f"  boots {wide.boots} on skis {wide.skis} are served")
                print(f"  boots {narrow.boots} on skis {narrow.skis} are not:")
                print(*(f"    {fault}" for fault in faults), sep="\n")
    print(f"{count} pairs: the wider is served in {served}, of these the narrower not in {refused}")


def every_job(beds):
    """(pattern's name, which job, skis, bed, job) of all jobs."""
    from jiggen.design import Bed, Settings, SkiRange
    from jiggen.job import Job

    for ski in SKIS:  # what has the same mechanism one after the other: much of it is cached
        for bed in beds:
            for name, pattern in patterns().items():
                for number, (least, most, core, shift) in enumerate(JOBS):
                    less = SMALLER if name == "Junior" else 0.0
                    settings = Settings(SkiRange(*ski), Bed(bed, bed, 250.0))
                    boots = (least - less, most - less)
                    yield name, number, ski, bed, Job(pattern, boots, settings, core, shift=shift)


def table(rows, results):
    """Served of all, by bed and by ski range."""
    total, served = Counter(), Counter()
    for (_, _, ski, bed, _), (found, _) in zip(rows, results, strict=True):
        for key in ((bed, ski), (bed, None)):
            total[key] += 1
            served[key] += not found
    heads = [f"{low:g}-{high:g}" for low, high in SKIS]
    print(f"{'bed':>5}" + "".join(f"{head:>10}" for head in heads) + f"{'all':>18}")
    for bed in dict.fromkeys(row[3] for row in rows):
        cells = [f"{served[bed, ski]}/{total[bed, ski]}" for ski in SKIS]
        whole = f"{served[bed, None]}/{total[bed, None]}"
        share = 100 * served[bed, None] / total[bed, None]
        print(f"{bed:5g}" + "".join(f"{cell:>10}" for cell in cells) + f"{whole:>11}{share:5.0f} %")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bed", type=float, action="append")
    parser.add_argument("--only", default="")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--why", action="store_true", help="each refused job with its findings")
    parser.add_argument("--nested", type=int, metavar="PAIRS")
    parser.add_argument("--seed", type=int, default=1)
    said = parser.parse_args()
    if said.nested:
        compare_nested(said.seed, said.nested, said.workers)
        return

    from jiggen.executors import OwnProcesses, do_all

    rows = [row for row in every_job(said.bed or BEDS) if said.only in row[0]]
    start, results = time.perf_counter(), {}
    with OwnProcesses(said.workers, load) as executor:
        for done in do_all(
            refusal, [(number, row[-1]) for number, row in enumerate(rows)], executor
        ):
            number = done.job[0]
            codes = [(finding.code, str(finding)) for finding in done.findings]
            results[number] = done.value or (codes, 0.0)
    found = [results[number] for number in range(len(rows))]
    if said.json:
        print(json.dumps([
            {"pattern": name, "boots": job.boots, "core": job.core, "shift": job.shift, "ski": ski,
             "bed": bed, "refused": sorted({code for code, _ in refused})}
            for (name, _, ski, bed, job), (refused, _) in zip(rows, found, strict=True)
        ]))  # fmt: skip
        return
    table(rows, found)
    reasons = Counter()
    for (name, _, ski, bed, job), (refused, _) in zip(rows, found, strict=True):
        codes = {code for code, _ in refused} - {"design.boot-range", "design.nearest"}
        reasons.update((bed, code) for code in codes or {code for code, _ in refused})
        if refused and said.why:
            print(f"{name}, boots {job.boots}, skis {ski}, bed {bed:g}:")
            print(*(f"  {line}" for _, line in dict(refused).items()), sep="\n")
    print("\nrefused for (a job may be for several)")
    for code in sorted({code for _, code in reasons}):
        each = ", ".join(f"{reasons[bed, code]} at {bed:g}" for bed in BEDS if reasons[bed, code])
        print(f"{code:<24}{each}")
    slowest = max(taken for _, taken in found)
    took = time.perf_counter() - start
    print(f"\n{len(rows)} designs, {took:.0f} s, the slowest {slowest:.1f} s of processor time")


if __name__ == "__main__":
    main()
