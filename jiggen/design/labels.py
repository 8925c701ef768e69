"""The words on a body, in whatever form finds room: a label never keeps a jig from being made.

What a jig is for must be on it: boot, drilling, side, half.  Such a line stands whole in large
letters, else in smaller ones, over several lines, and at last with the short words below.  The
name of the pattern is the least of them: it is shortened and at last left out.
"""

from collections.abc import Iterator, Sequence

import shapely
import shapely.affinity

from jiggen.design.lettering import letter

CAPS = (6.0, 5.0, 4.2, 3.6)  # mm, capital heights tried from the largest
SMALL_CAPS = (3.6, 3.0)  # mm, where there is no room for more; a 0.4 mm nozzle draws no smaller
LEADING = 1.5  # capital heights from line to line
SHORT_WORDS = {"BOOT": "B", "SHIFT": "S", "DRILL": "D", " SKI": "", " HALF": "", " / ": "/"}
ELLIPSIS = "…"
LEAST_LETTERS = 3  # of a name that is shortened: fewer say nothing


def forms_of(line: str) -> Iterator[shapely.Geometry]:
    """A line that must be on a body, in every form that it may have there, the best first."""
    yield from _turned((line,), CAPS)
    yield from _turned((line,), SMALL_CAPS[1:])
    for text in (line, _shortened(line)):
        for lines in ((text,), *_broken(text)):
            yield from _turned(lines, SMALL_CAPS)


def least_forms(line: str) -> Iterator[shapely.Geometry]:
    """The forms of such a line that take the least room."""
    text = _shortened(line)
    for lines in ((text,), *_broken(text)):
        yield from _turned(lines, SMALL_CAPS[-1:])


def forms_of_name(name: str) -> Iterator[shapely.Geometry]:
    """A pattern's name in every form that it may have on a body, the best first."""
    yield from _turned((name,), CAPS)
    yield from _turned((name,), SMALL_CAPS[1:])
    for lines in _broken(name):
        yield from _turned(lines, SMALL_CAPS)
    for length in range(len(name) - 1, LEAST_LETTERS - 1, -1):
        yield from _turned((name[:length].rstrip() + ELLIPSIS,), SMALL_CAPS[1:])


def _shortened(line: str) -> str:
    for word, less in SHORT_WORDS.items():
        line = line.replace(word, less)
    return line


def _broken(text: str) -> Iterator[tuple[str, ...]]:
    """`text` over two lines, as equal as may be, and with each word on a line of its own."""
    words = text.split()
    if len(words) < 2:
        return
    halves = ((" ".join(words[:n]), " ".join(words[n:])) for n in range(1, len(words)))
    yield min(halves, key=lambda half: max(map(len, half)))
    if len(words) > 2:
        yield tuple(words)


def _turned(lines: Sequence[str], caps: Sequence[float]) -> Iterator[shapely.Geometry]:
    """`lines` of text as large as may be: along the body, else across it, read from the tail."""
    for turn in (0, -90):
        for cap in caps:
            rows = [
                shapely.affinity.translate(letter(text, cap), 0.0, -number * LEADING * cap)
                for number, text in enumerate(lines)
            ]
            yield shapely.affinity.rotate(shapely.union_all(rows), turn, origin=(0, 0))
