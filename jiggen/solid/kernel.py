"""The CAD kernel, without the parts of VTK that show things on a screen.

CadQuery can mesh for VTK, by two of the kernel's modules that each ask for ``vtk``, which is all of
VTK, only to know that it is there.  They find an empty module of that name, and whoever asks for it
later the true one.
"""

import sys
from importlib import import_module, reload
from types import ModuleType

ASKING = {"OCP.IVtkOCC": "IVtkOCC_Shape", "OCP.IVtkVTK": "IVtkVTK_ShapeData"}
"""The modules, and of each what CadQuery takes from it."""


def load_without_display() -> None:
    """Load those modules, before CadQuery does."""
    if "vtk" in sys.modules or not ASKING.keys().isdisjoint(sys.modules):
        return
    sys.modules["vtk"] = ModuleType("vtk")
    try:
        loaded = [import_module(name) for name in ASKING]
    finally:
        del sys.modules["vtk"]
    for module in loaded:
        if not hasattr(module, ASKING[module.__name__]):  # it asks for more than the name
            reload(module)


load_without_display()
