"""The centring mechanism by its written meshes alone: what it does to a ski.

Pinions sit in their seats, racks mesh with them: for every width of ski it is found where each
rail's nose stands, by moving the rack until it touches the pinion on either flank.
"""

import math
from dataclasses import dataclass

import numpy as np

from jiggen.verify import limits
from jiggen.verify.assembly import judge_interference
from jiggen.verify.bearings import find_seat, judge_bearings, judge_recess, judge_seat
from jiggen.verify.drive import Drive, drive
from jiggen.verify.evidence import Evidence
from jiggen.verify.geometry import Array
from jiggen.verify.reading.entries import Inputs, SkiWidths
from jiggen.verify.results import Ledger
from jiggen.verify.stations import Side

RADIUS = 10.0  # mm, of a rounded side: common practice, no source
ALIKE = 0.005  # mm: what is farther off by less is off alike
LEAST_STATIONS = 2  # one cannot hold a jig straight


@dataclass(frozen=True, eq=False)
class Touch:
    """Where a rail touches: half the widths of the skis (n,) that it stands against, mm."""

    side: Side
    widths: Array
    half: Array


def judge_mechanism(evidence: Evidence, ledger: Ledger) -> None:
    """Every station: its parts are there, run, and centre every ski that was asked for."""
    inputs = evidence.manifest.inputs
    if inputs.ski is None:
        return
    _judge_pieces(evidence, ledger)
    known: dict[tuple[object, ...], Drive | None] = {}
    touching: dict[str, list[Touch]] = {}
    seats: dict[str, tuple[Array, Array]] = {}
    nowhere = np.zeros(2), np.zeros(2)
    for side in evidence.sides:
        judge_rail(side, inputs, ledger)
        judge_bearings(side, inputs.slide, ledger)
        if side.pinion is None:
            continue
        if side.station not in seats:
            seat = find_seat(side)
            judge_seat(side, seat, ledger)
            judge_recess(side, inputs.slide, ledger)
            axis, hole = (seat.pinion, seat.hole) if seat else nowhere
            seats[side.station] = side.sign * axis, side.sign * hole
        axis, hole = (side.sign * at for at in seats[side.station])
        key = id(side.rail), id(side.pinion), *np.round((axis, hole), 6).ravel()
        if key not in known:
            known[key] = drive(side, axis, hole, (inputs.ski.least, inputs.ski.most))
        if touch := _judge_drive(side, known[key], inputs, inputs.ski, ledger):
            touching.setdefault(side.station, []).append(touch)
    for station, pair in touching.items():
        if len(pair) == len(("left", "right")):
            _judge_centred(station, pair[0], pair[1], ledger)
    around = [found.around for found in known.values() if found]
    if around:
        judge_interference(evidence, around[0], ledger)


def _judge_pieces(evidence: Evidence, ledger: Ledger) -> None:
    stations = evidence.manifest.stations
    about = ledger.about("STL", "stations")
    count = len(stations)
    message = f"{count} of them: {LEAST_STATIONS} centre a jig"
    about.expect(count >= LEAST_STATIONS, "verify.station", message, count, LEAST_STATIONS)
    placed = {one.name for part in evidence.manifest.parts for one in part.placed}
    for station in stations:
        wanted = [f"rail {station.name} left", f"rail {station.name} right"]
        wanted += [f"pinion {station.name}", f"knob {station.name}"]
        lost = [name for name in wanted if name not in placed]
        message = f"not among the parts: {', '.join(lost)}"
        about = ledger.about("STL", f"{station.name} station")
        about.expect(not lost, "verify.station", message)


def run_out(side: str | float, depth: Array) -> Array:
    """How much further out a ski's side is `depth` below its top sheet than at its edge there."""
    if side == "rounded":
        return np.sqrt(RADIUS**2 - np.maximum(0.0, RADIUS - depth) ** 2)
    slope = 0.0 if isinstance(side, str) else float(side)
    return np.asarray(depth * math.tan(math.radians(slope)))


def half_touched(side: Side, inputs: Inputs) -> tuple[float, Array]:
    """Half the width of the ski that a rail touches as it was placed, and where: (x, y, z).

    The width is the ski's `rail_depth` below its top sheet; above it, a sloped side is narrower.
    """
    points = side.rail.mesh.vertices
    points = points[points[:, 2] < 0.0]
    if not len(points):
        return math.inf, np.zeros(3)
    wall = inputs.sidewall
    edge = run_out(wall, -points[:, 2]) - run_out(wall, np.array(inputs.rail_depth))
    apart = points[:, 1] - edge
    touching = points[apart <= apart.min() + limits.SHAPE / 2]
    return float(apart.min()), touching.mean(axis=0)


def judge_rail(side: Side, inputs: Inputs, ledger: Ledger) -> None:
    """A rail's nose ends where widths are taken, is upright, and its clamping face is flat."""
    about, points = ledger.about("STL", side.name), side.rail.mesh.vertices
    out = float((points[:, 1].min() + points[:, 1].max()) / 2)
    message = "it is placed on the other side of the centre line"
    about.expect(out > 0, "verify.station", message, out)
    foot, wanted = -float(points[:, 2].min()), inputs.rail_depth
    message = f"its nose ends {foot:.2f} mm below the top sheet, {wanted:g} mm wanted"
    about.within(foot, wanted, limits.SLIDE, "verify.touch", message)
    at = [side.rail.level(-wanted * share) for share in (0.97, 0.75, 0.5)]
    faces = [float(one.bounds[1]) for one in at if not one.is_empty]
    lean = max(faces) - min(faces) if len(faces) == len(at) else math.inf
    message = f"its nose is {lean:.2f} mm out of upright over half its height"
    about.within(lean, 0.0, limits.UPRIGHT, "verify.leaning", message)
    # What a clamp presses on: the largest face that looks outwards, and nothing before it.
    corners = points[side.rail.mesh.triangles]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(across, axis=1)
    outward = across[:, 1] > 0.999 * size
    if not outward.any():
        about.fail("verify.clamp-face", "no face that a clamp could press on")
        return
    places, sizes = corners[outward].mean(axis=1)[:, 1], size[outward]
    flat = max(np.unique(places.round(2)), key=lambda y: sizes[np.abs(places - y) < 0.01].sum())
    over = float(points[:, 1].max() - flat)
    x, _, z = points[points[:, 1].argmax()]
    message = (
        f"{over:.2f} mm stand out of the face that a clamp presses on, {x:.1f} mm along it, "
        f"{abs(z):.1f} mm {'over' if z > 0 else 'below'} the top sheet"
    )
    about.within(over, 0.0, limits.SHAPE, "verify.clamp-face", message)


def _judge_drive(
    side: Side, found: Drive | None, inputs: Inputs, ski: SkiWidths, ledger: Ledger
) -> Touch | None:
    """Its teeth are even, fit those of the pinion at every width, and lead the rail to the ski."""
    about = ledger.about("STL", side.name)
    if not about.expect(found is not None, "verify.teeth", "no teeth that mesh are found"):
        return None
    assert found is not None
    about.expect(
        found.teeth % 2 == 0,
        "verify.teeth",
        f"{found.teeth} teeth on its pinion: only an even number drives two racks alike",
    )
    for what, off, bent in zip(("it", "its pinion"), found.uneven, found.bent, strict=True):
        message = f"a tooth of {what} lies {off:.2f} mm off its place in the row"
        about.within(off, 0.0, limits.EVEN, "verify.teeth", message)
        message = f"the teeth of {what} differ by {bent:.2f} mm between two heights"
        about.within(bent, 0.0, limits.EVEN, "verify.teeth", message)
    low, high = found.play.T
    jammed = np.isnan(low)
    first = found.widths[int(jammed.argmax())]
    message = f"it and its pinion jam, first on a ski of {first:.4g} mm"
    if not about.expect(not jammed.any(), "verify.jammed", message):
        return None
    room, wanted = high - low, inputs.backlash
    worst = _worst(room - wanted, found.widths)
    message = (
        f"it has {room[worst]:.3f} mm of backlash on a ski of {found.widths[worst]:.4g} mm, "
        f"{wanted:g} mm wanted"
    )
    about.within(float(room[worst]), wanted, limits.BACKLASH, "verify.backlash", message)
    stands, at = half_touched(side, inputs)
    half = stands + (found.widths - (ski.least + ski.most) / 2) / 2 + (low + high) / 2
    off = half - found.widths / 2
    worst = _worst(off, found.widths)
    message = (
        f"on a ski of {found.widths[worst]:.4g} mm it stands {abs(off[worst]):.2f} mm "
        f"{'farther out than' if off[worst] > 0 else 'within'} the ski's edge"
    )
    about.within(float(off[worst]), 0.0, limits.CENTRED, "verify.touch", message)
    message = f"it touches the ski {at[0] * side.sign:+.2f} mm along from its station"
    about.within(float(at[0]), 0.0, limits.ASIDE, "verify.touch", message)
    return Touch(side, found.widths, half)


def _worst(off: Array, widths: Array) -> int:
    """Where `off` is farthest from 0; if that is so at one of them, the first, middle or last."""
    far = np.abs(off)
    named = (0, int(np.abs(widths - (widths[0] + widths[-1]) / 2).argmin()), len(widths) - 1)
    return next((n for n in named if far[n] >= far.max() - ALIKE), int(far.argmax()))


def _judge_centred(station: str, one: Touch, other: Touch, ledger: Ledger) -> None:
    """Both rails must touch a ski of any width equally far from the centre line."""
    apart = one.half - other.half
    worst = _worst(apart, one.widths)
    far, near = (one, other) if apart[worst] > 0 else (other, one)
    message = (
        f"{far.side.name} touches a {one.widths[worst]:.4g} mm ski {abs(apart[worst]):.2f} mm "
        f"farther out than {near.side.name}"
    )
    about = ledger.about("STL", f"{station} station")
    about.within(float(apart[worst]), 0.0, limits.CENTRED, "verify.off-centre", message)
