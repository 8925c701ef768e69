"""jiggen: printable, verified drilling jigs for mounting bindings and plates on skis.

One straight pipeline, each package knowing only the ones before it::

    pattern -> layout -> design -> solid -> export -> verify -> report

Frame everywhere (axes named as in ISO 8855): x towards the ski's tip, y towards
the left edge seen from tail to tip, z up; origin on the ski's mounting mark, on
the centre line, at top-sheet level.  Millimetres and degrees.
"""

import sys
from types import ModuleType

from jiggen.api import build, design_jig, lay_out, read_pattern, verify
from jiggen.errors import CheckFailed, Finding, InputError, JiggenError

__version__ = "0.1.0"
__all__ = [
    "CheckFailed",
    "Finding",
    "InputError",
    "JiggenError",
    "__version__",
    "build",
    "design_jig",
    "lay_out",
    "read_pattern",
    "verify",
]


class _Package(ModuleType):
    """Keeps the functions: Python sets a package's attribute to each submodule it imports."""

    def __setattr__(self, name: str, value: object) -> None:
        if not (name in __all__ and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package
