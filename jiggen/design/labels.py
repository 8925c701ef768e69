"""The words on a body, in whatever form finds room: a label never keeps a jig from being made.

What a jig is for must be on it: boot, drilling, side, half.  Such a line stands whole in large
letters, else in smaller ones, over several lines, and at last with the short words below.  The
name of the pattern is the least of them: it is shortened and at last left out.
"""

from collections.abc import Iterator, Sequence

from jiggen import wording
from jiggen.design.lettering import Drawn, together, write

CAPS = (6.0, 5.0, 4.2, 3.6)  # mm, capital heights tried from the largest
SMALL_CAPS = (3.6, 3.0)  # mm, where there is no room for more; a 0.4 mm nozzle draws no smaller
LEADING = 1.5  # capital heights from line to line


def forms_of(line: str) -> Iterator[Drawn]:
    """A line that must be on a body, in every form that it may have there, the best first."""
    yield from _turned((line,), CAPS)
    yield from _turned((line,), SMALL_CAPS[1:])
    for lines in wording.forms_of(line):
        yield from _turned(lines, SMALL_CAPS)


def least_forms(line: str) -> Iterator[Drawn]:
    """The forms of such a line that take the least room."""
    text = wording.shortened(line)
    for lines in ((text,), *wording.broken(text)):
        yield from _turned(lines, SMALL_CAPS[-1:])


def forms_of_name(name: str) -> Iterator[Drawn]:
    """A pattern's name in every form that it may have on a body, the best first."""
    yield from _turned((name,), CAPS)
    yield from _turned((name,), SMALL_CAPS[1:])
    for lines in wording.broken(name):
        yield from _turned(lines, SMALL_CAPS)
    for line in wording.cut_short(name):
        yield from _turned((line,), SMALL_CAPS[1:])


def marked(jig_mark: str) -> tuple[Drawn, ...]:
    """A jig mark in every form that it may have on a body, the best first; none of no mark."""
    return tuple(_turned((jig_mark,), (*CAPS, SMALL_CAPS[-1]))) if jig_mark else ()


def _turned(lines: Sequence[str], caps: Sequence[float]) -> Iterator[Drawn]:
    """`lines` of text as large as may be: along the body, else across it, read from the tail."""
    for turn in (0, -90):
        for cap in caps:
            rows = (
                write(text, cap).moved(0.0, -number * LEADING * cap)
                for number, text in enumerate(lines)
            )
            yield together(rows).turned(turn)
