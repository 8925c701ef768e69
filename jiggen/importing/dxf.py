"""Circles of a DXF drawing: of its model space and the blocks there, drawn as circles or not."""

import io
import logging
import math
import struct
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from jiggen.errors import InputError
from jiggen.importing import KIND, Circle, Drawing
from jiggen.importing.outlines import GAP, Outlines, Tracer
from jiggen.inputs.document import read_bytes

# DXF reference, HEADER section: $INSUNITS, the codes that a plate could be drawn in.
INSUNITS = {
    1: ("inches", 25.4),
    2: ("feet", 304.8),
    4: ("mm", 1.0),
    5: ("cm", 10.0),
    6: ("m", 1000.0),
    9: ("thousandths of an inch", 0.0254),
    13: ("micrometres", 0.001),
    14: ("decimetres", 100.0),
}
DEEPEST = 32  # blocks within blocks
MOST = 100_000  # entities looked at
UPRIGHT = 1 - 1e-9  # cosine of an axis that counts as upright
BINARY = b"AutoCAD Binary DXF\r\n\x1a\x00"  # DXF reference, binary files: the sentinel
LONGEST_REASON = 200  # characters: the reason may quote the file at any length
LINES = {"ARC", "ELLIPSE", "HATCH", "LINE", "LWPOLYLINE", "POLYLINE", "SPLINE"}
NOT_PRINTED = "defpoints"  # the layer of points that dimensions hang on, by custom
NO_DXF = "Save it from the drawing program as DXF, release 2010 say."

# What the reader raises, besides its own errors, on files that are broken or not DXF.
NOT_READ = (
    ValueError, LookupError, TypeError, AttributeError, ArithmeticError, AssertionError,
    struct.error,
)  # fmt: skip


def read_dxf(path: Path) -> Drawing:
    """Read the circles, round outlines and points of the DXF file at `path`, text or binary.

    Circles in blocks are read where the blocks are placed; what is on layers that are switched
    off or frozen is ignored, as it is not visible.
    Raises InputError as `read_bytes` does, ``import.no-dxf`` and ``import.too-many``.
    """
    import ezdxf
    from ezdxf import recover

    file = str(path)
    data = read_bytes(path, KIND)
    # What the reader repairs, it also logs; none of it changes a circle.
    logging.getLogger("ezdxf").setLevel(logging.CRITICAL)
    try:
        binary = data.startswith(BINARY)
        document = ezdxf.readfile(path) if binary else recover.read(io.BytesIO(data))[0]
        name, unit = INSUNITS.get(document.header.get("$INSUNITS", 0), ("", None))
        walk = _Walk(file, document.layers, Outlines(GAP / (unit or 1.0)))
        circles = tuple(walk.circles(document.modelspace()))
        rounded, unread = walk.outlines.read()
    except InputError:
        raise
    except (ezdxf.DXFError, *NOT_READ) as error:
        reason = " ".join(str(error).split())[:LONGEST_REASON] or type(error).__name__
        message = f"not a DXF drawing: {reason}"
        raise InputError.of("import.no-dxf", message, where=file, hint=NO_DXF) from None
    source = f"{name}, as the drawing's header says" if name else ""
    circles = (*circles, *rounded)
    return Drawing(file, circles, unit, source, others=walk.others, unread=unread)


class _Walk:
    """Goes through entities and into blocks; keeps `outlines`, counts in `others` all else."""

    def __init__(self, file: str, layers: Any, outlines: Outlines) -> None:
        self.others: Counter[str] = Counter()
        self.outlines = outlines
        self._file = file
        self._layers = layers
        self._seen = 0

    def circles(
        self, entities: Iterable[Any], layer: str = "0", depth: int = 0, *, squeezed: bool = False
    ) -> Iterator[Circle]:
        """Every visible circle, in the drawing's own frame and unit.

        `layer`, `depth` within blocks and `squeezed` are those of the block they are in.
        """
        for entity in entities:
            self._seen += 1
            if self._seen > MOST or depth > DEEPEST:
                message, hint = f"more than {MOST} shapes", KIND.too_big
                if depth > DEEPEST:
                    message = "blocks that contain each other without end"
                raise InputError.of("import.too-many", message, where=self._file, hint=hint)
            # What lies on layer 0 of a block lies on the layer that the block is placed on.
            own = str(entity.dxf.layer) if entity.dxf.is_supported("layer") else "0"
            own = layer if own == "0" else own
            found = self._layers.get(own) if own in self._layers else None
            kind = entity.dxftype()
            if found and (found.is_off() or found.is_frozen()):
                continue
            if kind == "INSERT":
                for one in entity.multi_insert() if entity.mcount > 1 else (entity,):
                    uneven = squeezed or not one.has_uniform_scaling
                    inside = one.virtual_entities()
                    yield from self.circles(inside, own, depth + 1, squeezed=uneven)
            elif kind == "CIRCLE" or (kind == "ELLIPSE" and _is_circle(entity, squeezed=squeezed)):
                yield self._circle(entity, own)
            elif kind == "POINT":
                if own.casefold() != NOT_PRINTED:
                    x, y, _ = entity.dxf.location
                    name = f"point at ({x:.6g}, {y:.6g}) on layer {own}"
                    yield Circle(x, y, 0.0, name, self._file, (own,), "", kind, (own,))
            elif kind in LINES:
                self._trace(entity, own)
            else:
                self.others[kind] += 1

    def _trace(self, entity: Any, layer: str) -> None:
        """Keep the lines of an entity that is drawn with lines and curves."""
        from ezdxf import path as paths

        kind, tracer = entity.dxftype(), Tracer()
        try:
            many = paths.from_hatch(entity) if kind == "HATCH" else (paths.make_path(entity),)
            for path in (single for one in many for single in one.sub_paths()):
                tracer.moveTo((path.start.x, path.start.y))
                for end, *bent in path.commands():
                    draw = (tracer.lineTo, tracer.qCurveTo, tracer.curveTo)[len(bent)]
                    draw(*((at.x, at.y) for at in (*bent, end)))
                (tracer.closePath if kind == "HATCH" else tracer.endPath)()
        except NOT_READ:  # a spline without points, say: it is not shown either
            self.others[kind] += 1
            return
        self.outlines.add(kind, tracer, (layer,), (layer,), self._file)

    def _circle(self, entity: Any, layer: str) -> Circle:
        """A circle, or an ellipse that was one."""
        flaw = ""
        if entity.dxftype() == "CIRCLE":
            x, y, _ = entity.ocs().to_wcs(entity.dxf.center)
            diameter = 2 * entity.dxf.radius
            if abs(entity.dxf.extrusion.normalize().z) < UPRIGHT:
                flaw = "does not lie flat in the drawing"
        else:
            x, y, _ = entity.dxf.center
            diameter = 2 * entity.dxf.major_axis.magnitude
            if not _is_circle(entity):
                flaw = "is squeezed to an ellipse by the block it is in"
        name = f"circle at ({x:.6g}, {y:.6g}) on layer {layer}"
        return Circle(x, y, diameter, name, self._file, (layer,), flaw, "", (layer,))


def _is_circle(ellipse: Any, *, squeezed: bool = False) -> bool:
    """Whether an ellipse goes all around and is even, or is not so only because it is squeezed."""
    around = abs(ellipse.dxf.end_param - ellipse.dxf.start_param)
    even = squeezed or math.isclose(ellipse.dxf.ratio, 1.0, rel_tol=1e-6)
    return even and math.isclose(around, 2 * math.pi, rel_tol=1e-6)
