"""A strip picture: the tongue of a half from above, and the line of a boot length on the mark."""

from collections.abc import Iterator, Mapping, Sequence

from jiggen.draw.fonts import CAPITALS, POINT, plain, width_of
from jiggen.draw.shapes import Area, Line, Pen, Shape, grey
from jiggen.record.ladders import EDGES, LadderLine, LineLength, RowName, length_of
from jiggen.report.sheet import kit
from jiggen.units import number

# mm as drawn, at a size of 1:
SCALE = 2.4  # mm drawn for a mm of the tongue
BAND, OVER = 5.4, 2.0  # the tongue across, and the ski seen beside it
LONG = 1.9  # a numbered line
LENGTHS: dict[LineLength, float] = {"long": LONG, "half-long": 1.4, "short": 0.8}
END = 2.5  # mm of the tongue past its last line
NUMBER, BOOT = 5.0, 5.5  # points
INK, LAID, MARK, SIDE = Pen(0.2), Pen(0.5), Pen(0.8), Pen(0.15)
TONGUE = grey(0.92)
Rows = Mapping[RowName, Sequence[LadderLine]]


def strip(rows: Rows, boot: float, width: float, size: float = 1.0) -> kit.Picture:
    """The tongue about the line for `boot`, mm, tip to the right, in a room `width` mm wide.

    The mark shows as a wide line on either side of it, with the boot's length at the edge that is
    read.  A number that would lie on one of that edge is left out.
    """
    height = size * (BAND + 2 * OVER)
    return kit.Picture(width, height, _strip(rows, boot, width, size))


def _strip(rows: Rows, boot: float, width: float, size: float) -> Iterator[Shape]:
    top, foot = -size * OVER, -size * (OVER + BAND)
    name, mine = next(
        (name, line)
        for name, row in rows.items()
        if name in EDGES
        for line in row
        if line.first <= boot <= line.last
    )
    scale, middle = size * SCALE, width / 2
    every = [middle + scale * (line.x - mine.x) for row in rows.values() for line in row]
    ends = max(0.0, min(every) - END * scale), min(width, max(every) + END * scale)
    yield Area(((ends[0], top), (ends[1], top), (ends[1], foot), (ends[0], foot)), TONGUE)
    for y in (top, foot):
        yield Line((ends[0], y), (ends[1], y), SIDE)
    filled: list[tuple[float, float]] = []
    left = EDGES[name] == "left"
    # Those of the edge that is read come first.
    for row, lines in sorted(rows.items(), key=lambda one: one[0] != name):
        above = EDGES.get(row, "left") == "left"
        edge, inwards = (top, -size) if above else (foot, size)
        for line in lines:
            x = middle + scale * (line.x - mine.x)
            if not 0.0 <= x <= width:
                continue
            long = LENGTHS[length_of(row, line)]
            pen = LAID if row == name and line == mine else INK
            yield Line((x, edge), (x, edge + inwards * long), pen)
            words = plain(line.number)
            half = width_of(words, size * NUMBER) / 2 + 0.4
            if not words or x - half < 0 or x + half > width:
                continue
            if all(x + half <= low or x - half >= high for low, high in filled):
                filled.append((x - half, x + half))
                cap = NUMBER * POINT * CAPITALS
                y = edge + inwards * (LONG + 0.3 + (cap if above else 0.0))
                yield kit.typeset((x, y), words, size * NUMBER, anchor="middle")
    for start, end in ((0.0, top), (foot, foot - size * OVER)):
        yield Line((middle, start), (middle, end), MARK)
    cap = BOOT * POINT * CAPITALS
    y = -size * cap if left else -size * (2 * OVER + BAND)
    yield kit.typeset((middle + 0.9 * size, y), number(boot), size * BOOT, bold=True)
