"""Every limit a pattern file is held to, in mm unless said otherwise.

All are common practice (no source): wide enough for any ski, narrow enough to catch a slip
of the decimal point or the wrong unit.
"""

from __future__ import annotations

MAX_BYTES = 1_000_000
MAX_HOLES = 200
MAX_GROUPS = 100
MAX_STEPS = 200

X_LIMIT = 600.0  # from the mounting mark, either way along the ski
Y_LIMIT = 75.0  # from the centre line, either way
LONGEST = 2000.0  # any shift or coordinate, wherever its group lies
DIAMETERS = (1.0, 12.0)
DEEPEST = 30.0
PLATES = (0.0, 60.0)  # thickness of plate under a screw; 0: nothing between screw and ski
SCREWS = (4.0, 60.0)  # length of a screw
MOST_SCREWS = 12  # lengths at hand
HALF_WIDTHS = (0.0, 100.0)  # of the area allowed for holes, as wide as any ski
BOOTS = (100.0, 500.0)  # what may stand in `boot`
USUAL_BOOTS = (200.0, 400.0)  # checked when a file gives no `boot`
WEB = 1.0  # least wall between two drilled holes
SAME = 1e-6  # centres nearer than this are one hole written twice
