"""What is engraved on a jig's bodies, by the job: words, boot-centre line, ladders.

That a file shows what the record says of its engravings, `jiggen.verify.engraving` judges; here it
is held to what was asked for, to the holes, and to the mounting mark, which lies at x = 0.
"""

from collections.abc import Iterable, Sequence

import numpy as np

from jiggen import wording
from jiggen.verify import limits
from jiggen.verify.reading.engraved import Engraved, Sign
from jiggen.verify.reading.entries import LadderEntry, Part, is_half, is_long
from jiggen.verify.reading.manifest import Manifest
from jiggen.verify.results import Subject

MARK = "boot-centre line"
CODE = "verify.words"
LONGER = 3.0  # mm across: a line of the top that is longer reaches its number


def lines_on(manifest: Manifest, part: str) -> tuple[str, ...]:
    """The lines on a body of this name, the pattern's name first."""
    given = manifest.inputs
    soles = given.boots or ((given.boot,) if given.boot else ())
    drills = [hole.diameter for hole, guide in manifest.guided if guide.part == part]
    side = given.side if given.pair == "mirrored" else ""
    shift, core, mark = given.shift, given.core, given.mark
    return wording.body_lines(given.pattern, soles, shift, drills, core, side, mark)


def judge_body(
    manifest: Manifest, part: Part, face: Engraved, halves: list[str], about: Subject
) -> None:
    """Judge a body of a jig; `halves` are the names of the halves that were met, with this one."""
    arrows = [sign for sign in face.signs if sign.kind == "arrow"]
    message = "one arrow is wanted, which points to the tip"
    about.expect([one.turn for one in arrows] == [0], CODE, message)
    seats = sorted((one.x, one.y) for one in face.signs if one.kind == "diamond")
    clamps = sorted((mark.x, mark.y) for mark in manifest.clamps if mark.part == part.name)
    there = len(seats) == len(clamps) and np.allclose(seats, clamps, atol=limits.LADDER)
    about.expect(there, CODE, "its diamonds are not where it is clamped")
    ladder = next((one for one in manifest.ladders if one.part == part.name), None)
    lines, texts = list(lines_on(manifest, part.name)), list(face.texts)
    optional: list[str] = []
    if ladder:
        texts = _judge_ladder(ladder, face, about)
        lines.append(_half(manifest, part.name, texts, halves))
        optional.append(wording.HINT)
    else:
        _judge_mark(face, about)
    lines += [manifest.jig_mark] if manifest.jig_mark else []
    judge_texts(lines[1:], lines[0], optional, [text.text for text in texts], about)
    known = {MARK} if not ladder else {f"{row.name} ladder" for row in ladder.rows}
    for ruled in face.lines:
        about.expect(ruled.name in known, CODE, f"lines that are not wanted: {ruled.name}")


def judge_texts(
    lines: Iterable[str],
    name: str,
    optional: Iterable[str],
    texts: Iterable[str],
    about: Subject,
    *,
    whole: bool = False,
) -> None:
    """Every line is there in some form, the name and what is optional may be, and no more.

    With `whole` no line may have another form than its own.
    """
    left = list(texts)
    for line in lines:
        found = _take(left, [(line,)] if whole else wording.forms_of(line))
        about.expect(found, CODE, f"‘{line}’ must be engraved on it, and is not")
    if name:
        _take(left, wording.forms_of_name(name))
    for line in optional:
        _take(left, [(line,)])
    for text in left:
        about.fail(CODE, f"‘{text}’ is engraved on it, which is none of its words")


def _take(left: list[str], forms: Iterable[Sequence[str]]) -> bool:
    """Take the first of `forms` that is there whole."""
    for form in forms:
        rest = list(left)
        try:
            for text in form:
                rest.remove(text)
        except ValueError:
            continue
        left[:] = rest
        return True
    return False


def _half(manifest: Manifest, part: str, texts: Iterable[Sign], halves: list[str]) -> str:
    """What must stand on a half: its role by where its holes lie, numbered after the first one."""
    mine = [hole for hole, guide in manifest.guided if guide.part == part]
    places = np.array([[entry.x[hole.id] for hole in mine] for entry in manifest.boots])
    if (np.ptp(places, axis=0) <= limits.LADDER).all():
        role = "CENTRE"
    else:
        role = "TOE" if np.mean([hole.x for hole in mine]) > 0 else "HEEL"
    there = {text.text for text in texts}
    names = [role, *(f"{role}-{number}" for number in range(2, 10))]
    free = [name for name in names if name not in halves]
    forms = {name: list(wording.forms_of(wording.half_line(name))) for name in free}
    found = next((n for n in free if any(set(form) <= there for form in forms[n])), free[0])
    halves.append(found)
    return wording.half_line(found)


def _judge_mark(face: Engraved, about: Subject) -> None:
    """The boot-centre line lies at x = 0 on the top, and down the inner wall of both windows."""
    boxes = face.boxes(MARK)
    about.expect(bool(boxes), "verify.mark", "no boot-centre line is said to be engraved")
    grooves = [(ruled, box) for ruled in face.grooves for box in ruled.boxes]
    sides = sorted(round((box[1] + box[3]) / 2, 3) for _, box in grooves)
    both = len(sides) == 2 and sides[0] < 0 and abs(sum(sides)) <= limits.LADDER
    about.expect(both, "verify.mark", "it must go on down the walls of two sight windows")
    for x0, _, x1, _ in (*boxes, *(box for _, box in grooves)):
        message = f"the boot-centre line lies at x {(x0 + x1) / 2:.3f}, not at 0"
        about.within((x0 + x1) / 2, 0.0, limits.LADDER, "verify.mark", message)
        low, high = limits.MARK_WIDTH
        message = f"the boot-centre line is {x1 - x0:.2f} mm wide"
        about.expect(low <= x1 - x0 <= high, "verify.mark", message)
    for ruled, _ in grooves:
        low, high = ruled.z or (np.inf, 0.0)
        through = low <= limits.LINE_END and high >= face.floor
        about.expect(through, "verify.mark", f"its groove ends {low:.1f} mm above the ski")


def _judge_ladder(ladder: LadderEntry, face: Engraved, about: Subject) -> list[Sign]:
    """Lines, numbers and words of a ladder stand where they belong; the texts that are left."""
    left = list(face.texts)
    limit = limits.LADDER
    for row in ladder.rows:
        long = sorted(line.x for line in row.lines if is_long(line))
        half = sorted(line.x for line in row.lines if is_half(row.name, line))
        name = f"{row.name} ladder"
        top = face.boxes(name)
        grooves = [box for one in face.grooves if one.name.startswith(name) for box in one.boxes]
        for what, boxes, wanted in (
            ("long lines on the top", [b for b in top if b[3] - b[1] > LONGER], long),
            ("half-long lines on the top", [b for b in top if b[3] - b[1] <= LONGER], half),
            ("lines down the wall", grooves, sorted((*long, *half))),
        ):
            xs = sorted((box[0] + box[2]) / 2 for box in boxes)
            right = len(xs) == len(wanted) and np.allclose(xs, wanted, atol=limit)
            about.expect(right, CODE, f"its {name} has not its {what}")
        if row.name in ("odd", "even"):
            odd = row.name == "odd"
            right = all(line.first % 2 == odd for line in row.lines)
            about.expect(right, CODE, f"its {name} has lines for other boots")
        for line in (line for line in row.lines if line.number):
            low, high = row.numbers
            beside = [t for t in left if t.text == line.number and abs(t.x - line.x) <= limit]
            beside = [text for text in beside if low <= text.y <= high]
            message = f"no number {line.number} beside its line on the {name}"
            if about.expect(len(beside) == 1, CODE, message):
                left.remove(beside[0])
    rows = {row.name: sum(row.numbers) / 2 for row in ladder.rows}
    for name, words in wording.ROW_WORDS.items():
        if name not in rows or not words:
            continue
        found = [text for text in left if text.text in words]
        message = f"‘{words[-1]}’ must be engraved once, beside the {name} ladder"
        if about.expect(len(found) == 1, CODE, message):
            y = found[0].y
            nearest = min((n for n in rows if n != "shift"), key=lambda n: abs(rows[n] - y))
            message = f"‘{found[0].text}’ stands beside the {nearest} ladder"
            about.expect(nearest == name, CODE, message)
            left.remove(found[0])
    for row in (row for row in ladder.rows if row.name == "shift"):
        zero = next((line.x for line in row.lines if line.first == 0), np.nan)
        for word, way in ((wording.TIP_SHIFT, 1.0), (wording.TAIL_SHIFT, -1.0)):
            found = [text for text in left if text.text == word]
            right = len(found) == 1 and way * (found[0].x - zero) > 0
            end = "tip" if way > 0 else "tail"
            message = f"‘{word}’ must stand once, at the {end} end of the ladder of shifts"
            about.expect(right, CODE, message)
            left = [text for text in left if text not in found]
    return left
