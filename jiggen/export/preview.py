"""A shaded picture of the jig in use, drawn off screen by VTK."""

import errno
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Colour = tuple[float, float, float]
GEAR: Colour = (0.30, 0.33, 0.36)
INK: Colour = (0.20, 0.13, 0.05)
INK_NAME = "engraved"
COLOURS = {
    **dict.fromkeys(("body", "plate", "gauge", "slots"), (0.93, 0.62, 0.20)),
    **dict.fromkeys(("rail", "rack"), (0.25, 0.47, 0.64)),
    "ski": (0.80, 0.82, 0.84),
    INK_NAME: INK,
}
SIZE = (1600, 1000)
BOX = np.array([[x, y, z] for x in (0.0, 1.0) for y in (0.0, 1.0) for z in (0.0, 1.0)])
BOX_TRIANGLES = np.array(  # of its corners, seen anticlockwise from outside
    [
        *([1, 3, 0], [4, 1, 0], [0, 3, 2], [2, 4, 0], [1, 7, 3], [5, 1, 4]),
        *([5, 7, 1], [3, 7, 2], [6, 4, 2], [2, 7, 6], [6, 5, 4], [7, 5, 6]),
    ]
)


@dataclass(frozen=True, eq=False)
class Shown:
    """A piece in the picture: its `kind` gives its colour; ski frame, mm, (n, 3) and (m, 3)."""

    kind: str
    vertices: NDArray[np.float64]
    triangles: NDArray[np.int64]


def draw_preview(pieces: Sequence[Shown], path: Path, zoom: float = 1.5) -> None:
    """Write `path` (PNG): the pieces seen from the left, the tail and above.

    At `zoom` 1 a ball around them fills the picture; a jig is long and flat.

    Raises OSError when the file cannot be written.
    """
    os.environ.setdefault("VTK_DEFAULT_OPENGL_WINDOW", "vtkEGLRenderWindow")
    # What draws: without it the window and its actors are empty shells, and using one is a crash.
    import vtkmodules.vtkRenderingOpenGL2  # noqa: F401
    from vtkmodules import vtkRenderingCore
    from vtkmodules.vtkCommonCore import vtkObject
    from vtkmodules.vtkCommonMisc import vtkErrorCode
    from vtkmodules.vtkIOImage import vtkPNGWriter

    vtkObject.GlobalWarningDisplayOff()
    scene = vtkRenderingCore.vtkRenderer()
    scene.SetBackground(1.0, 1.0, 1.0)
    for piece in pieces:
        scene.AddActor(_actor(piece))
    for position, strength in (((-300, 500, 900), 0.75), ((600, -200, 500), 0.30)):
        light = vtkRenderingCore.vtkLight()
        light.SetPosition(*position)
        light.SetIntensity(strength)
        scene.AddLight(light)
    window = vtkRenderingCore.vtkRenderWindow()
    window.SetOffScreenRendering(1)
    window.SetMultiSamples(8)
    window.SetSize(*SIZE)
    window.AddRenderer(scene)
    camera = scene.GetActiveCamera()
    camera.SetPosition(-520, -640, 620)
    camera.SetViewUp(0, 0, 1)
    scene.ResetCamera()
    camera.Zoom(zoom)
    image = vtkRenderingCore.vtkWindowToImageFilter()  # renders the window itself
    image.SetInput(window)
    image.ReadFrontBufferOff()
    image.Update()
    writer = vtkPNGWriter()
    writer.SetFileName(str(path))
    writer.SetInputConnection(image.GetOutputPort())
    writer.Write()
    code = writer.GetErrorCode()
    if code:  # VTK removes what it could not finish, and says so by a number alone
        raise OSError(errno.EIO, vtkErrorCode.GetStringFromErrorCode(code), str(path))


def inked(piece: Shown, floor_z: float) -> tuple[Shown, Shown]:
    """`piece` without, and only, its engravings' floors at `floor_z` mm: drawn dark to be read."""
    flat = np.abs(piece.vertices[piece.triangles][:, :, 2] - floor_z).max(axis=1) < 1e-3
    return (
        Shown(piece.kind, piece.vertices, piece.triangles[~flat]),
        Shown(INK_NAME, piece.vertices, piece.triangles[flat]),
    )


def ski_piece(length: tuple[float, float], width: float) -> Shown:
    """A plain stand-in for the ski: a bar under the jig, `width` mm wide, 18 mm thick."""
    low = np.array((length[0], -width / 2, -18.05))
    size = (length[1], width / 2, -0.05) - low
    return Shown("ski", low + BOX * size, BOX_TRIANGLES)


def _actor(piece: Shown) -> Any:
    from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray
    from vtkmodules.vtkCommonCore import vtkPoints
    from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData
    from vtkmodules.vtkFiltersCore import vtkPolyDataNormals
    from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

    points = vtkPoints()
    points.SetData(numpy_to_vtk(np.ascontiguousarray(piece.vertices), deep=True))
    cells = vtkCellArray()
    corners = np.ascontiguousarray(piece.triangles, dtype=np.int64).ravel()
    cells.SetData(3, numpy_to_vtkIdTypeArray(corners, deep=True))
    data = vtkPolyData()
    data.SetPoints(points)
    data.SetPolys(cells)
    smooth = vtkPolyDataNormals()  # split along edges of more than 30°
    smooth.SetInputData(data)
    mapper = vtkPolyDataMapper()
    mapper.SetInputConnection(smooth.GetOutputPort())
    actor = vtkActor()
    actor.SetMapper(mapper)
    look = actor.GetProperty()
    look.SetColor(*COLOURS.get(piece.kind, GEAR))
    look.SetAmbient(0.26)
    look.SetDiffuse(0.80)
    look.SetSpecular(0.12)
    look.SetSpecularPower(18)
    return actor
