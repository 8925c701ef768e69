"""What is engraved on rails, trial plates and gauges: scales and names, by what they stand for."""

import math
from collections.abc import Sequence

import numpy as np

from jiggen import wording
from jiggen.verify import limits
from jiggen.verify.evidence import Evidence
from jiggen.verify.reading.engraved import Box, Engraved, Sign
from jiggen.verify.reading.entries import Part
from jiggen.verify.reading.manifest import Manifest
from jiggen.verify.results import Ledger, Subject
from jiggen.verify.signs import box_of
from jiggen.verify.words import judge_texts, lines_on

CODE = "verify.scale-wrong"
SCALE, INDEX = "rail scale", "index line"
CHECK_SCALE, LINES = "check scale", "mounting mark and centre line"


def judge_rail(evidence: Evidence, part: Part, face: Engraved, ledger: Ledger) -> None:
    """The line for half a width h is at the body's edge when the nose touches a ski of 2 h.

    Nose and edge are measured in the meshes; the first rail placed is a left one.
    """
    manifest, about = evidence.manifest, ledger.about("STL", part.name)
    ski, rail = manifest.inputs.ski, evidence.placed.get(part.placed[0].name)
    edges = [float(np.abs(mesh.vertices[:, 1]).max()) for mesh in evidence.bodies.values()]
    if ski is None or rail is None or not edges:
        return
    points = rail[2].vertices
    nose = float(points[points[:, 2] < 0.0, 1].min(initial=np.inf))
    zero = max(edges) + nose
    values = range(math.ceil(ski.least / 2), math.floor(ski.most / 2) + 1)
    wanted = [zero - value for value in reversed(values)]
    found = sorted((box[1] + box[3]) / 2 for box in face.boxes(SCALE))
    message = f"{len(found)} lines on its scale, {len(wanted)} for skis of this range"
    if about.expect(len(found) == len(wanted), CODE, message):
        for value, y, at in zip(reversed(values), wanted, found, strict=True):
            message = f"the line for half a width of {value} mm lies {abs(at - y):.2f} mm off"
            about.within(at, y, limits.LADDER, CODE, message)
    for number in face.texts:
        read = int(number.text) if number.text.isdecimal() else 0
        above = box_of(number)[1] - (zero - read)
        beside = read in values and 0 < above < limits.BESIDE_LINE
        message = f"the number {number.text} does not stand beside its line"
        about.expect(beside, CODE, message)
    places = {
        round((box[1] + box[3]) / 2, 3)
        for side in manifest.engraved
        if side.part == part.name
        for box in side.boxes(INDEX)
    }
    one = len(places) == 1 and all(
        len(side.boxes(INDEX)) == 1 for side in manifest.engraved if side.part == part.name
    )
    about.expect(one, CODE, "its index line is not at one place on both faces")
    known = {SCALE, INDEX}
    about.expect({ruled.name for ruled in face.lines} <= known, CODE, "lines that are not wanted")


def judge_trial(evidence: Evidence, part: Part, face: Engraved, about: Subject) -> None:
    """A trial plate: its words, each hole's name beside it, mark, centre line, check scale."""
    manifest, gone = evidence.manifest, evidence.manifest.left_out.get(part.name, ())
    holes = [hole for hole, guide in manifest.guided if guide.part == part.name]
    texts = list(face.texts)
    for hole in (hole for hole in holes if hole.id not in gone):
        mine = [text for text in texts if text.text == hole.id and _near(text, hole.x, hole.y)]
        message = f"its name is not engraved within {limits.NAMED:g} mm of it"
        named = Subject(about.ledger, about.source, hole.id)
        if named.expect(bool(mine), "verify.words", message):
            texts.remove(mine[0])
    span = [float(box[0]) for box in face.boxes(LINES)], [float(b[2]) for b in face.boxes(LINES)]
    start, stop = min(span[0], default=0.0), max(span[1], default=0.0)
    mesh = evidence.bodies.get(part.name)
    if mesh is not None:
        start, stop = mesh.vertices[:, 0].min(), mesh.vertices[:, 0].max()
    musts = [wording.TRIAL, *lines_on(manifest, part.name), wording.MARK]
    scaled = bool(face.boxes(CHECK_SCALE))
    number = [f"{wording.SCALE:.1f}"] if scaled else []
    whose = [manifest.jig_mark] if manifest.jig_mark else []  # never left out
    written = [*(line for line in musts if line not in gone), *number, *whose]
    judge_texts(written, "", (), [text.text for text in texts], about, whole=True)
    arrows = [sign.turn for sign in face.signs if sign.kind == "arrow"]
    message = "one arrow is wanted, which points to the tip"
    about.expect(arrows == [0] or "arrow to the tip" in gone, "verify.words", message)
    if scaled:
        _judge_check_scale(face.boxes(CHECK_SCALE), about)
    else:
        short = stop - start <= wording.SCALE + limits.SCALE_ENDS
        about.expect(short or CHECK_SCALE in gone, CODE, "no check scale is engraved on it")
    marks = [box for box in face.boxes(LINES) if box[3] - box[1] > box[2] - box[0]]
    along = [box for box in face.boxes(LINES) if box not in marks]
    about.expect(bool(along), "verify.mark", "no centre line is engraved on it")
    across = start < -limits.LADDER and stop > limits.LADDER
    about.expect(bool(marks) or not across, "verify.mark", "no mounting mark is engraved on it")
    for name, boxes, axis in (("mounting mark", marks, 0), ("centre line", along, 1)):
        for box in boxes:
            at = (box[axis] + box[axis + 2]) / 2
            message = f"its {name} lies at {'xy'[axis]} {at:.3f}, not at 0"
            about.within(at, 0.0, limits.LADDER, "verify.mark", message)
    known = {CHECK_SCALE, LINES}
    about.expect({ruled.name for ruled in face.lines} <= known, CODE, "lines that are not wanted")


def _judge_check_scale(boxes: Sequence[Box], about: Subject) -> None:
    """Its lines stand 10 mm apart, the last 100 mm from the first."""
    xs = sorted((box[0] + box[2]) / 2 for box in boxes)
    steps = round(wording.SCALE / wording.SCALE_STEP)
    message = f"its check scale has {len(xs)} lines"
    if about.expect(len(xs) == steps + 1, CODE, message):
        wanted = xs[0] + wording.SCALE_STEP * np.arange(steps + 1)
        off = float(np.abs(np.array(xs) - wanted).max())
        message = f"its check scale is {xs[-1] - xs[0]:.3f} mm long, a line {off:.3f} mm off"
        about.within(off, 0.0, limits.LADDER, CODE, message)


def judge_gauge(manifest: Manifest, face: Engraved, about: Subject) -> None:
    """A gauge's frame: names beside pegs and holes, allowances beside pockets, the axes."""
    texts = list(face.texts)

    def take(text: str, x: float, y: float) -> None:
        mine = [one for one in texts if one.text == text and _near(one, x, y)]
        message = f"‘{text}’ is not engraved beside it"
        if about.expect(bool(mine), "verify.words", message):
            texts.remove(mine[0])

    bushes = set()
    for peg in manifest.pegs:
        take(peg.id, peg.x, peg.y)
    for hole, guide in manifest.guided:
        pocket = guide.bore > hole.diameter + limits.LADDER or "bush" in hole.id
        take(f"{guide.bore - hole.diameter:.2f}" if pocket else hole.id, hole.x, hole.y)
        bushes |= {hole.diameter} if pocket else set()
    for turn, name in ((0, "X"), (90, "Y")):
        arrows = [one for one in face.signs if one.kind == "axis" and one.turn == turn]
        message = f"one arrow is wanted along {name}, with its letter"
        if about.expect(len(arrows) == 1, "verify.words", message):
            arrow, half = arrows[0], arrows[0].size / 2
            tip = (arrow.x + half, arrow.y) if turn == 0 else (arrow.x, arrow.y + half)
            take(name, *tip)
    words = [wording.DO_NOT_TURN, *(f"BUSH {bush:g}" for bush in sorted(bushes))]
    words += [manifest.jig_mark] if manifest.jig_mark else []
    judge_texts(words, "", (), [text.text for text in texts], about, whole=True)


def judge_slots(manifest: Manifest, face: Engraved, about: Subject) -> None:
    """The clearance of every slot, from the narrowest on."""
    fits = manifest.fits.slide if manifest.fits else ()
    texts = sorted(face.texts, key=lambda text: text.x)
    found, wanted = [text.text for text in texts], [f"{fit:.2f}" for fit in fits]
    message = f"its slots are named {', '.join(found)}, not {', '.join(wanted)}"
    about.expect(found == wanted, "verify.words", message)


def _near(sign: Sign, x: float, y: float) -> bool:
    """Whether a sign's box is so near to a point that it is taken for its name."""
    x0, y0, x1, y1 = box_of(sign)
    away = math.hypot(max(x0 - x, x - x1, 0.0), max(y0 - y, y - y1, 0.0))
    return away <= limits.NAMED
