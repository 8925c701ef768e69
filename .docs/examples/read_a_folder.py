"""Read the record of a built folder: where the depth stop goes on each drill."""

import jiggen
from jiggen.record import read_jig

folder = jiggen.build("skew-plate", boot=305, ski=(84, 112), out="skew").folder
drilling = read_jig(folder).drilling
if drilling:
    for stop in drilling.stops:
        print(stop)
