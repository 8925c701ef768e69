"""What a part is for: the words engraved on it, in every form that finds room.

The design chooses among the forms and the verification accepts them: this is their one
definition.  Where the words stand, and their outlines, each of the two has by itself.
"""

from collections.abc import Iterable, Iterator, Sequence

SHORT_WORDS = {"BOOT": "B", "SHIFT": "S", "DRILL": "D", " SKI": "", " HALF": "", " / ": "/"}
ELLIPSIS = "…"
LEAST_LETTERS = 3  # of a name that is shortened: fewer say nothing
HINT = "BOOT'S LINE ON THE SKI'S MARK"
ROW_WORDS = {
    "odd": ("ODD   1 LINE = 2 MM", "ODD"),
    "even": ("EVEN   1 LINE = 2 MM", "EVEN"),
    "bands": ("BOOTS",),
    "bands-left": (),
}
TIP_SHIFT, TAIL_SHIFT = "TIP SHIFT", "TAIL SHIFT"
CENTRE = "boot-centre"  # the point of the boot that lies on a ski's mark, unless one says more
TRIAL, MARK = "TRIAL PLATE", "MARK"
SCALE = 100.0  # mm between the end lines of a check scale, centre to centre
SCALE_STEP = 10.0  # mm between its lines
DO_NOT_TURN = "DO NOT TURN"


def body_lines(
    pattern: str,
    boots: Iterable[float],
    shift: float,
    drills: Iterable[float],
    core: str,
    side: str = "",
    mark: str = CENTRE,
) -> tuple[str, ...]:
    """The lines on every body, the pattern's name first; `side` is that of a mirrored pair's ski.

    `boots`, from and to of a range, the mount shift and the diameters of `drills` are mm.  `mark`
    is the point of the boot on the ski's mark: said where it is not the centre of the sole.
    """
    soles = "-".join(f"{boot:g}" for boot in boots)
    shifted = f"  SHIFT {shift:+g}" if shift else ""
    sizes = " / ".join(f"{drill:g}" for drill in sorted(set(drills)))
    lines = [pattern, f"BOOT {soles}{shifted}", f"DRILL {sizes} {core.upper()}"]
    lines += [f"MARK = {point_words(mark).upper()}"] if mark != CENTRE else []
    return (*lines, f"{side.upper()} SKI") if side else tuple(lines)


def point_words(point: str) -> str:
    """A point of the boot in words, ``pin-line`` as pin line."""
    return "boot centre" if point == CENTRE else point.replace("-", " ")


def whose_holes(
    boot: float, boots: Sequence[float] | None, shift: float, side: str, *, drawn: bool
) -> str:
    """For what boot and ski places of holes are: those of `boots`, all or as `drawn` for `boot`.

    `side` is that of a mirrored pair's ski; lengths are mm.
    """
    words = f"boot {boot:g} mm"
    if boots:
        soles = "-".join(f"{one:g}" for one in boots)
        words = f"boot {boot:g} mm, the longest of {soles}" if drawn else f"boots {soles} mm"
    shifted = f", shift {shift:+g} mm" if shift else ""
    return f"{words}{shifted}{f', {side.upper()} ski only' if side else ''}"


def half_line(name: str) -> str:
    """What stands on a half that is used by itself."""
    return f"{name.upper()} HALF"


def shortened(line: str) -> str:
    """A line with its short words."""
    for word, less in SHORT_WORDS.items():
        line = line.replace(word, less)
    return line


def forms_of(line: str) -> Iterator[tuple[str, ...]]:
    """A line that must be on a body as one or more lines of text, the best first."""
    for text in (line, shortened(line)):
        yield (text,)
        yield from broken(text)


def forms_of_name(name: str) -> Iterator[tuple[str, ...]]:
    """A pattern's name, likewise; it may be left out too."""
    yield (name,)
    yield from broken(name)
    yield from ((line,) for line in cut_short(name))


def cut_short(name: str) -> Iterator[str]:
    """A name shortened letter by letter."""
    for length in range(len(name) - 1, LEAST_LETTERS - 1, -1):
        yield name[:length].rstrip() + ELLIPSIS


def broken(text: str) -> Iterator[tuple[str, ...]]:
    """`text` over two lines, as equal as may be, and with each word on a line of its own."""
    words = text.split()
    if len(words) < 2:
        return
    halves = ((" ".join(words[:n]), " ".join(words[n:])) for n in range(1, len(words)))
    yield min(halves, key=lambda half: max(map(len, half)))
    if len(words) > 2:
        yield tuple(words)
