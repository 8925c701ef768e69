"""Build time by room, beside one multi-tool cut of the same body by the kernel; peak memory.

    python tests/bench/build.py [PATTERN] [--boot 305]

Prints; asserts nothing. The single cut is the kernel's own: the body's blank and every cutter,
without any of the rooms around it.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from pathlib import Path


def timed(label, action):
    start = time.perf_counter()
    result = action()
    print(f"{label:<34}{time.perf_counter() - start:8.2f} s")
    return result


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("pattern", nargs="?", default="club-piste")
    parser.add_argument("--boot", type=float, default=305.0)
    wanted = parser.parse_args()
    whole = time.perf_counter()

    from jiggen.design import Settings, SkiRange, design
    from jiggen.layout import layout
    from jiggen.pattern import find_pattern, read_pattern

    pattern = timed("pattern", lambda: read_pattern(find_pattern(wanted.pattern)))
    holes = timed("layout", lambda: layout(pattern, wanted.boot))
    jig = timed("design", lambda: design(holes, Settings(ski=SkiRange(84, 112))))
    solid = timed("import of the CAD kernel", lambda: __import__("jiggen.solid").solid)
    model = timed("solid", lambda: solid.build(jig))
    from jiggen.export import listing, write_manifest
    from jiggen.export.write import write_files
    from jiggen.verify import prove

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        manifest = timed("export", lambda: write_files(jig, model, folder))
        manifest["files"] = listing(folder)
        write_manifest(folder, manifest)
        proof = timed("verify", lambda: prove(folder))
    print(f"{'whole build':<34}{time.perf_counter() - whole:8.2f} s, proof passed: {proof.passed}")

    from jiggen.solid.body import body_blank, body_cutters

    body = jig.bodies[0]
    blank, tools = body_blank(body, jig), list(body_cutters(body, jig))
    timed(f"one {len(tools)}-tool cut of {body.name}", lambda: blank.cut(*tools))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{'peak memory':<34}{peak:8.0f} MB")


if __name__ == "__main__":
    main()
