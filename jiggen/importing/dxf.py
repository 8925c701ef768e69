"""Circles of a DXF drawing: those of its model space, and those in the blocks placed there."""

from __future__ import annotations

import io
import logging
import math
import struct
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from jiggen.errors import InputError
from jiggen.importing.model import KIND, Circle, Drawing, fault
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
NO_DXF = "Save it from the drawing program as DXF, release 2010 say."

# What the reader raises, besides its own errors, on files that are broken or not DXF.
NOT_READ = (ValueError, LookupError, TypeError, AttributeError, struct.error)


def read_dxf(path: Path) -> Drawing:
    """Read the circles of the DXF file at `path`, text or binary.

    Circles in blocks are read where the blocks are placed; what is on layers that are switched
    off or frozen is ignored, as it is not visible.

    Raises InputError as `read_bytes` does, ``import.no-dxf`` and ``import.too-many``.
    """
    import ezdxf

    try:
        document = _document(path)
        walk = _Walk(str(path), document)
        circles = tuple(walk.circles())
    except (ezdxf.DXFError, *NOT_READ) as error:
        if isinstance(error, InputError):
            raise
        reason = " ".join(str(error).split())[:LONGEST_REASON] or type(error).__name__
        finding = fault("no-dxf", f"not a DXF drawing: {reason}", str(path), hint=NO_DXF)
        raise InputError(finding) from None
    name, unit = INSUNITS.get(document.header.get("$INSUNITS", 0), ("", None))
    return Drawing(
        file=str(path),
        circles=circles,
        unit=unit,
        unit_source=f"{name}, as the drawing's header says" if name else "",
        others=dict(walk.others.most_common()),
    )


def _document(path: Path) -> Any:
    import ezdxf
    from ezdxf import recover

    data = read_bytes(path, KIND)
    # What the reader repairs, it also logs; none of it changes a circle.
    logging.getLogger("ezdxf").setLevel(logging.CRITICAL)
    if data.startswith(BINARY):
        return ezdxf.readfile(path)
    document, _ = recover.read(io.BytesIO(data))
    return document


class _Walk:
    """Goes through the model space and into blocks; counts in `others` what is not a circle."""

    def __init__(self, file: str, document: Any) -> None:
        self.others: Counter[str] = Counter()
        self._file = file
        self._document = document
        self._seen = 0

    def circles(self) -> Iterator[Circle]:
        """Every visible circle, in the drawing's own frame and unit."""
        return self._among(self._document.modelspace(), _Place("0", 0, False))

    def _among(self, entities: Iterable[Any], place: _Place) -> Iterator[Circle]:
        for entity in entities:
            self._count(place)
            # What lies on layer 0 of a block lies on the layer that the block is placed on.
            own = str(entity.dxf.layer) if entity.dxf.is_supported("layer") else "0"
            layer = place.layer if own == "0" else own
            if self._hidden(layer):
                continue
            kind = entity.dxftype()
            if kind == "CIRCLE":
                yield self._circle(entity, layer)
            elif kind == "INSERT":
                yield from self._placed(entity, layer, place)
            elif kind == "ELLIPSE" and _whole(entity) and (place.squeezed or _even(entity)):
                yield self._squeezed(entity, layer)
            else:
                self.others[kind] += 1

    def _count(self, place: _Place) -> None:
        self._seen += 1
        if self._seen > MOST or place.depth > DEEPEST:
            message = "blocks that contain each other without end"
            if place.depth <= DEEPEST:
                message = f"more than {MOST} shapes"
            raise InputError(fault("too-many", message, self._file, hint=KIND.too_big))

    def _placed(self, insert: Any, layer: str, place: _Place) -> Iterator[Circle]:
        for one in insert.multi_insert() if insert.mcount > 1 else (insert,):
            squeezed = place.squeezed or not one.has_uniform_scaling
            inside = _Place(layer, place.depth + 1, squeezed)
            yield from self._among(one.virtual_entities(), inside)

    def _hidden(self, layer: str) -> bool:
        if layer not in self._document.layers:
            return False
        found = self._document.layers.get(layer)
        return bool(found.is_off() or found.is_frozen())

    def _circle(self, entity: Any, layer: str) -> Circle:
        x, y, _ = entity.ocs().to_wcs(entity.dxf.center)
        normal = entity.dxf.extrusion.normalize()
        flaw = "" if abs(normal.z) >= UPRIGHT else "does not lie flat in the drawing"
        return self._named(x, y, 2 * entity.dxf.radius, layer, flaw)

    def _squeezed(self, ellipse: Any, layer: str) -> Circle:
        x, y, _ = ellipse.dxf.center
        width = 2 * ellipse.dxf.major_axis.magnitude
        flaw = "" if _even(ellipse) else "is squeezed to an ellipse by the block it is in"
        return self._named(x, y, width, layer, flaw)

    def _named(self, x: float, y: float, diameter: float, layer: str, flaw: str) -> Circle:
        name = f"circle at ({x:.6g}, {y:.6g}) on layer {layer}"
        return Circle(x, y, diameter, name, self._file, (layer,), flaw)


@dataclass(frozen=True)
class _Place:
    """Where the walk is: the layer of the block placed, how deep, and whether it is squeezed."""

    layer: str
    depth: int
    squeezed: bool


def _whole(ellipse: Any) -> bool:
    span = abs(ellipse.dxf.end_param - ellipse.dxf.start_param)
    return math.isclose(span, 2 * math.pi, rel_tol=1e-6)


def _even(ellipse: Any) -> bool:
    return math.isclose(ellipse.dxf.ratio, 1.0, rel_tol=1e-6)
