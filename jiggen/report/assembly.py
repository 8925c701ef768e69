"""How a printed jig is put together, once, before its first ski."""

import math
from collections.abc import Iterator

from jiggen.design.station import LOCK_SCREW, MODULE
from jiggen.record import JigRecord

JOIN = (
    "Before any bush is pressed in: slide the two bodies together, lay both top down on something "
    "flat, and tighten the joint screws there, since the joint is free in height. The key's short "
    "arm goes into the screw, its long arm swings in the slot."
)
BUSHES = "Press a bush into each pocket from above until it sits on its ledge."
RAILS = (
    "Lay the body top down. Slide two rails into each station's channels from the sides, legs up, "
    "until the line across each rail lies at the body's side edge."
)
PINION = (
    f"Put an {LOCK_SCREW} nut into each pinion, and push it in between the two rails, teeth into "
    "teeth. Both lines must still lie at the edges."
)
KNOB = (
    "Turn the body over, holding the pinions in. Put a knob on each hexagon, and the "
    f"{LOCK_SCREW} screw through it, finger-tight."
)
# Rolled by one tooth, a rack comes a pitch farther: π times the module.
TURN = (
    "Turn each knob until the line across one rail, on its top now, lies at the body's edge: the "
    f"other's must lie there too. If it is {math.pi * MODULE:.1f} mm away, that rail is one tooth "
    f"off, and the jig would lie {math.pi * MODULE / 2:.1f} mm to the side there: take the pinion "
    "out, and set the rail anew."
)
WEAR = (
    "Lines and letters wear: run a fine pen through them. Print a body anew when its boot-centre "
    "line or its letters cannot be read at a glance."
)


def assembly_steps(job: JigRecord) -> Iterator[str]:
    """What to do, in order."""
    if job.joint:
        yield JOIN
    if any("bush" in line.name for line in job.hardware):
        yield BUSHES
    yield from (RAILS, PINION, KNOB, TURN, WEAR)
