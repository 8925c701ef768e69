"""Room: measure. What caliper readings say: of a plate's holes, of a printer, of a finished jig.

`adjustment` is what all of it is computed by and put into words; `survey` reads distances on a
plate, `printer` those on a calibration print and on a finished jig.
"""

import re
from typing import Literal, get_args

Method = Literal["centre", "outside", "inside"]
"""How a distance is measured: between centres, over the far edges, or between the near ones."""

METHODS: tuple[Method, ...] = get_args(Method)
REACH: dict[Method, float] = {"centre": 0.0, "outside": 1.0, "inside": -1.0}
"""How many radii at each end a reading of that kind holds beyond the distance of the centres."""

NAME = re.compile(r"[A-Za-z0-9_]{1,12}")
"""What a hole may be called, but for one of `EDGES`."""
EDGES = ("front", "rear", "left", "right")
