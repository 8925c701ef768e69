"""The drawings of the layout, SVG and DXF: every hole, line and word, and whose they are."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from jiggen.cautions import CAUTIONS
from jiggen.files import MANIFEST, PLAN_DXF, PLAN_SVG, within
from jiggen.units import number
from jiggen.verify import limits
from jiggen.verify.parts import fail_unreadable
from jiggen.verify.reading.dxf import read_dxf_plan
from jiggen.verify.reading.plan import LARGEST, Plan, Ring, Stroke
from jiggen.verify.reading.stated import Stated, StatedHole, read_stated
from jiggen.verify.reading.svg import read_svg_plan
from jiggen.verify.results import Ledger, Subject

if TYPE_CHECKING:
    from jiggen.verify.evidence import Evidence

READERS: dict[str, Callable[[bytes], Plan]] = {PLAN_SVG: read_svg_plan, PLAN_DXF: read_dxf_plan}
BAR, TICKS = 100.0, 10.0  # mm: the bar to measure, and from tick to tick
UNSEEN = "\N{REPLACEMENT CHARACTER}"  # for what a font lacks


def judge_drawings(evidence: Evidence, ledger: Ledger) -> None:
    """Each drawing of the layout that the folder lists."""
    there = [name for name in READERS if name in evidence.manifest.files]
    if not there:
        return
    try:
        stated = read_stated(evidence.folder)
    except (OSError, ValueError) as error:
        fail_unreadable(ledger.about(MANIFEST, "drawings"), error)
        return
    for name in there:
        about = ledger.about(name, name)
        try:
            plan = READERS[name](within(evidence.folder, name, LARGEST).read_bytes())
        except (OSError, ValueError) as error:
            fail_unreadable(about, error)
            continue
        expect_mark(about, plan.marks, stated.mark)
        for way, unit in zip(("along", "across"), plan.unit, strict=True):
            message = f"a unit {way} is {unit:g} mm instead of 1 mm" if unit else "not in mm"
            right = abs(unit - 1) < limits.UNIT
            about.expect(right, "verify.unit", message, unit, 1.0, limits.UNIT, "mm")
        judge_rings(plan.rings, stated.holes, name, ledger)
        _judge_lines(plan, stated, name, ledger)
        _judge_words(plan, stated, about)


def expect_mark(about: Subject, marks: Sequence[str], wanted: str) -> bool:
    """What a file bears must be the mark of this record, once."""
    message = "it belongs to another record" if marks else "it does not say which record it is of"
    return about.expect(list(marks) == [wanted], "verify.other-record", message)


def judge_rings(
    rings: Sequence[Ring],
    holes: Sequence[StatedHole],
    source: str,
    ledger: Ledger,
    limit: float = limits.DRAWN,
) -> None:
    """Each hole must be one of the `rings`, its drill as wide, and no other may be there."""
    left = set(range(len(rings)))
    at = np.array([ring.at for ring in rings]).reshape(-1, 2)
    for hole in holes:
        about = ledger.about(source, hole.id)
        away = np.hypot(*(at - (hole.x, hole.y)).T)
        away[[n for n in range(len(rings)) if n not in left]] = np.inf
        nearest = int(away.argmin()) if left else -1
        if nearest < 0 or away[nearest] > limits.CATCH:
            about.fail("verify.drawn-missing", "no circle is drawn where it is")
            continue
        left.remove(nearest)
        ring, off = rings[nearest], float(away[nearest])
        x, y = ring.at
        message = f"drawn at {x:.3f}, {y:.3f}, {off:.3f} mm from {hole.x:.3f}, {hole.y:.3f}"
        about.within(off, 0.0, limit, "verify.drawn-moved", message)
        message = f"drawn {ring.diameter:g} mm wide instead of {hole.diameter:g} mm"
        about.within(ring.diameter, hole.diameter, 2 * limit, "verify.drawn-diameter", message)
        if ring.name:
            message = f"its circle is named {ring.name!r}"
            about.expect(ring.name == hole.id, "verify.drawn-name", message)
    for n in sorted(left):
        x, y = rings[n].at
        message = f"a circle at {x:.2f}, {y:.2f} is no hole"
        ledger.about(source, "circle").fail("verify.drawn-extra", message)


def _judge_lines(plan: Plan, stated: Stated, source: str, ledger: Ledger) -> None:
    """Crosses stand on holes; mark, centre line and edges of skis where they are; a true bar."""
    limit = limits.DRAWN
    about = ledger.about(source, "crosses")
    at = np.array([(hole.x, hole.y) for hole in stated.holes])
    level: list[bool] = []
    for stroke in plan.on("crosses"):
        off = np.hypot(*(at - stroke.middle).T)
        message = f"a cross at {stroke.middle[0]:.3f}, {stroke.middle[1]:.3f} is on no hole"
        if about.expect(float(off.min()) <= limit, "verify.drawn-line", message):
            level.append(_spans(stroke)[1] < limit)
    count, wanted = len(level), 2 * len(stated.holes)
    message = f"{count} lines of crosses for {len(stated.holes)} holes"
    right = (count, sum(level)) == (wanted, len(stated.holes))
    about.expect(right, "verify.drawn-line", message, count, wanted, 0.0)
    _line_at(plan, "mounting-mark", 0, [0.0], source, ledger)
    _line_at(plan, "centre-line", 1, [0.0], source, ledger)
    if ski := stated.inputs.ski:
        edges = {sign * width / 2 for width in (ski.least, ski.most) for sign in (1, -1)}
        _line_at(plan, "ski", 1, sorted(edges), source, ledger)
    about = ledger.about(source, "scale")
    bars = sorted(plan.on("scale"), key=lambda stroke: -max(_spans(stroke)))
    bar = max(_spans(bars[0])) if bars else 0.0
    message = f"its bar of {BAR:g} mm is {bar:.3f} mm long"
    about.within(bar, BAR, limit, "verify.drawn-scale", message)
    ticks = sorted(stroke.middle[0] for stroke in bars[1:])
    apart = [TICKS * n for n in range(round(BAR / TICKS) + 1)]
    start = min(bars[0].start[0], bars[0].end[0]) if bars else 0.0
    right = len(ticks) == len(apart) and all(
        abs(tick - start - place) <= limit for tick, place in zip(ticks, apart, strict=True)
    )
    message = f"the ticks of its bar are not {TICKS:g} mm apart"
    about.expect(right, "verify.drawn-scale", message)


def _spans(stroke: Stroke) -> tuple[float, float]:
    return abs(stroke.start[0] - stroke.end[0]), abs(stroke.start[1] - stroke.end[1])


def _line_at(
    plan: Plan, layer: str, axis: int, wanted: Sequence[float], source: str, ledger: Ledger
) -> None:
    """The lines of a `layer` lie at x (`axis` 0) or at y (1) of the `wanted` places."""
    found = sorted(stroke.middle[axis] for stroke in plan.on(layer))
    straight = all(_spans(stroke)[axis] <= limits.DRAWN for stroke in plan.on(layer))
    same = len(found) == len(wanted) and straight
    off = max((abs(a - b) for a, b in zip(found, wanted, strict=False)), default=0.0)
    places = " and ".join(f"{place:g}" for place in wanted)
    message = f"not at {'xy'[axis]} = {places}: {off:.3f} mm off" if same else "not as it is wanted"
    holds = same and off <= limits.DRAWN
    about = ledger.about(source, layer)
    about.expect(holds, "verify.drawn-line", message, off, 0.0, limits.DRAWN, "mm")


def _judge_words(plan: Plan, stated: Stated, about: Subject) -> None:
    """The words that say what it is of, which way it lies, and what to beware of."""
    shown = squeezed(" ".join(word.text for word in plan.words))
    for words in (*plan_words(stated), *CAUTIONS):
        about.expect(shows(shown, words), "verify.drawn-words", f"it does not say {words!r}")
    names = {hole.id for hole in stated.holes}
    lost = sorted(names - {word.text for word in plan.words})
    about.expect(not lost, "verify.drawn-words", f"holes without a name: {', '.join(lost[:5])}")
    far = max((hole.x for hole in stated.holes), default=0.0)
    lies = {"tip": (1.0, 0.0, far), "left": (0.0, 1.0, 0.0), "right": (0.0, -1.0, 0.0)}
    for text, (dx, dy, least) in lies.items():
        places = [dx * word.at[0] + dy * word.at[1] for word in plan.words if word.text == text]
        holds = min(places, default=least) > least
        about.expect(holds, "verify.drawn-words", f"{text!r} is not written where it is")


def plan_words(stated: Stated) -> list[str]:
    """What a drawing of the layout says in words."""
    inputs = stated.inputs
    way = f"{abs(inputs.shift):g} mm to the {'tip' if inputs.shift > 0 else 'tail'}"
    skis = f"{inputs.side} ski" if inputs.pair == "mirrored" else "left and right ski alike"
    drills = {(hole.diameter, hole.depth) for hole in stated.holes}
    return [
        inputs.pattern,
        f"boot {inputs.boot:g} mm, mount shift {way if inputs.shift else 'none'}, "
        f"core {inputs.core}, {skis}",
        *(f"drill {number(d)} mm, {number(depth)} mm deep" for d, depth in sorted(drills)),
        f"{BAR:g} mm: measure this bar before you trust a print",
    ]


def squeezed(text: str) -> str:
    """`text` without any white space: however it is broken into lines, it is the same."""
    return "".join(text.split())


def shows(shown: str, words: str) -> bool:
    """Whether `words` stand in what is `shown`, squeezed; a mark stands for an unknown letter."""
    wanted = squeezed(words)
    if wanted in shown:
        return True
    if UNSEEN not in shown:
        return False
    places = range(len(shown) - len(wanted) + 1)
    return any(
        all(a in (b, UNSEEN) for a, b in zip(shown[n : n + len(wanted)], wanted, strict=True))
        for n in places
    )
