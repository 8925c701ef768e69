"""Read the record of a built folder: where the depth stop goes on each drill."""

import sys
from pathlib import Path

from jiggen.record import read_jig

drilling = read_jig(Path(sys.argv[1])).drilling  # as `jiggen build` wrote it
if drilling:
    for stop in drilling.stops:
        print(stop)
