"""The picture of a jig, drawn where nothing else of the program has run yet."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
from PIL import Image

from jiggen.export.preview import SIZE

HERE = Path(__file__).parent
DRAWN = """
import sys
from pathlib import Path
import numpy as np
from jiggen.export.preview import Shown, draw_preview, ski_piece
corners = np.array([[0, 0, 0], [50, 0, 0], [0, 50, 0], [0, 0, 50.0]])
faces = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
draw_preview([Shown("body", corners, faces), ski_piece((-80, 80), 90)], Path(sys.argv[1]))
print([name for name in ("cadquery", "OCP") if name in sys.modules])
"""


def test_it_draws_in_a_process_that_never_loaded_the_kernel(tmp_path):
    path = tmp_path / "alone.png"
    done = subprocess.run(
        [sys.executable, "-c", DRAWN, str(path)],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(HERE.parent)},
    )
    assert (done.returncode, done.stdout) == (0, "[]\n"), done.stderr
    with Image.open(path) as picture:
        assert picture.size == SIZE
        red, green, blue = np.moveaxis(np.asarray(picture.convert("RGB"), float), -1, 0)
    white = (red == 255) & (green == 255) & (blue == 255)
    orange = red > blue + 60  # the body; the ski is grey
    assert 0.02 < orange.mean() < 0.5
    assert 0.02 < (~white & ~orange).mean() < 0.5
