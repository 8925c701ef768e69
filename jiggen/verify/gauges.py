"""What is bought, put into place as gauges: bushes, screws and nuts of their greatest size.

And what a hand does with them: a nut goes in, does not turn and is not pulled through; a knob goes
on and turns its pinion; the eye sees the ski's mark through each sight window.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping

import numpy as np

from jiggen.errors import InputError
from jiggen.files import MANIFEST
from jiggen.tables import Nut, SocketScrew, bush_for, nut, socket_screw
from jiggen.verify import limits
from jiggen.verify.evidence import Evidence
from jiggen.verify.geometry import Array
from jiggen.verify.plans import Guided
from jiggen.verify.reading.bodies import Fastener
from jiggen.verify.reading.entries import Bush, Guide, Hole, Inputs
from jiggen.verify.reading.manifest import Manifest
from jiggen.verify.reading.mesh import Mesh
from jiggen.verify.results import Ledger, Subject
from jiggen.verify.solids import Solid, box_of, cone, extent, hexagon, joined, posed, swept, turned

AWAY = 50.0  # mm from where a thing is brought
LEAN_ON = 0.1  # mm that a thing is pushed on against its seat
LEVEL = 0.9  # of a facet's normal that points up, of what a bush could rest on


def judge_gauges(evidence: Evidence, ledger: Ledger) -> None:
    """Every bush, screw and nut in its place, every knob on its pinion, every sight window."""
    manifest, solids = evidence.manifest, evidence.solids
    for name, mesh in evidence.bodies.items():
        guided = [both for both in manifest.guided if both[1].part == name]
        _judge_guides(guided, mesh, solids.get(name), manifest.inputs, ledger)
    for one in manifest.fasteners:
        if all(name in solids for name in one.pieces):
            _judge_fastener(one, [(name, solids[name]) for name in one.pieces], ledger)
    _judge_knobs(manifest, solids, ledger)
    _judge_list(manifest, ledger)
    _judge_sight(evidence, ledger)


def _judge_guides(
    guided: Guided, mesh: Mesh, body: Solid | None, inputs: Inputs, ledger: Ledger
) -> None:
    """A bush goes in from the top down to its seat; the stop comes down where it is stated."""
    top = float(mesh.vertices[:, 2].max())
    upward = mesh.vertices[mesh.triangles[mesh.normals[:, 2] > LEVEL]]
    pockets = [(hole, guide, guide.bush) for hole, guide in guided if guide.bush]
    gauges = []
    for hole, guide, bush in pockets:
        radius = (bush.outside + inputs.bush_fit) / 2 - limits.PLAN
        low = guide.bore_z[0] + limits.PLAN
        gauges.append(cone((radius, radius), (low, top + AWAY), hole.x, hole.y))
    shared = body ^ joined(gauges) if body is not None else joined([])
    for (hole, _, of), gauge in zip(pockets, gauges, strict=True):
        message = f"a bush of {of.outside:g} mm + {inputs.bush_fit:g} mm does not go in"
        _fits(ledger.about("STL", hole.id), gauge, shared, "verify.bush", message)
    for hole, guide in guided:
        about, own, stop = ledger.about("STL", hole.id), guide.bush, top
        if own:
            _judge_size(hole, own, inputs.bush, about)
        if own and guide.throat < guide.bore:  # else it is open at both ends
            found, share = _seat(upward, hole, guide)
            message = f"its bush rests at z = {found:.3f} instead of {guide.bore_z[0]:.3f}"
            about.within(found, guide.bore_z[0], limits.PLAN, "verify.seat", message)
            message = f"{100 * share:.0f} % of its bush's edge have a seat below them"
            about.expect(share >= limits.SEATED, "verify.seat", message, share, limits.SEATED)
            stop = max(top, found + own.length)
        if guide.top_z is not None:
            message = f"a stop comes down at z = {stop:.3f} instead of {guide.top_z:.3f}"
            about.within(stop, guide.top_z, limits.PLAN, "verify.stop-height", message)


def _seat(upward: Array, hole: Hole, guide: Guide) -> tuple[float, float]:
    """The highest z of what looks up between throat and bore, and its share of that ring.

    `upward` are the corners (m, 3, 3) of all that looks up.
    """
    away = np.hypot(*(upward.mean(axis=1)[:, :2] - (hole.x, hole.y)).T)
    inner, outer = guide.throat / 2, guide.bore / 2
    below = upward[:, :, 2].max(axis=1) < guide.bore_z[1] - limits.PLAN
    corners = upward[(away > inner) & (away < outer) & below]
    if not len(corners):
        return np.nan, 0.0
    high = float(corners[:, :, 2].max())
    flat = corners[corners[:, :, 2].min(axis=1) > high - limits.PLAN][:, :, :2]
    (x0, y0), (x1, y1) = (flat[:, 1] - flat[:, 0]).T, (flat[:, 2] - flat[:, 0]).T
    area = float(np.abs(x0 * y1 - y0 * x1).sum() / 2)
    return high, area / (np.pi * (outer**2 - inner**2))


def _judge_size(hole: Hole, bush: Bush, asked: Bush | str | None, about: Subject) -> None:
    """The bush is the one that was asked for, or the standard's for its drill."""
    if isinstance(asked, Bush):
        message = f"a bush of {bush.outside:g} x {bush.length:g} mm, another one was asked for"
        about.expect(bush == asked, "verify.bush", message)
    elif asked == "auto":
        try:
            row = bush_for(hole.diameter)
        except InputError as error:
            about.fail("verify.bush", str(error))
            return
        listed = bush.outside == row.outside and bush.length in row.lengths
        message = f"no standard bush for its drill is {bush.outside:g} x {bush.length:g} mm"
        about.expect(listed, "verify.bush", message, bush.outside, row.outside, 0.0, "mm")


# -- screws and nuts ------------------------------------------------------------------------------


def _judge_fastener(one: Fastener, pieces: list[tuple[str, Solid]], ledger: Ledger) -> None:
    try:
        screw, hexagonal = socket_screw(one.thread), nut(one.thread)
    except InputError as error:
        ledger.about(MANIFEST, one.name).fail("verify.fastener", str(error))
        return
    about, pose = ledger.about("STL", one.name), one.pose
    lay = pose[:3, :3].T @ np.array(one.lay)  # in the screw's own frame
    gauges = [
        (what, posed(gauge, pose))
        for what, gauge in (*_screw_gauges(one, screw, lay), *_nut_gauges(one, hexagonal, lay))
    ]
    around = box_of(np.stack([extent(gauge) for _, gauge in gauges]), limits.CATCH)
    pieces = [(name, piece ^ around) for name, piece in pieces]  # small: each is cut many times
    for what, gauge in gauges:
        for name, piece in pieces:
            _fits(about, gauge, piece, "verify.fastener", f"{what} meets {name}")
    shank, radius = np.pi * screw.diameter**2 / 4, screw.head_diameter / 2
    head = cone((radius, radius), (-LEAN_ON, screw.head_height))
    _bears(about, "head", posed(head, pose), pieces[0][1], np.pi * radius**2 - shank)
    pushed = hexagon(hexagonal.across_flats, (-one.grip - hexagonal.height, LEAN_ON - one.grip))
    ring = np.sqrt(3) / 2 * hexagonal.across_flats**2 - shank
    rests = posed(pushed, pose)
    holder = max(pieces, key=lambda piece: (piece[1] ^ rests).volume())
    _bears(about, "nut", rests, holder[1], ring)
    loose = hexagon(hexagonal.least_flats, (-one.grip - hexagonal.height, -one.grip))
    for degrees in (limits.NUT_TURN, -limits.NUT_TURN):
        shared = (posed(turned(loose, degrees), pose) ^ holder[1]).volume()
        message = f"its nut turns by {limits.NUT_TURN:g} degrees in {holder[0]}"
        about.expect(shared > limits.CRUMB, "verify.nut-turns", message)
    reach, full = one.length - one.grip, hexagonal.height - limits.THREAD_END
    message = f"the screw reaches {reach:.2f} mm into its nut, {full:.2f} mm needed"
    about.expect(reach >= full, "verify.fastener", message, reach, full, 0.0, "mm")
    tip = float((pose @ (0.0, 0.0, -one.length, 1.0))[2])
    about.expect(tip > 0.0, "verify.fastener", f"its tip is {-tip:.2f} mm below the top sheet")


def _screw_gauges(one: Fastener, screw: SocketScrew, lay: Array) -> Iterator[tuple[str, Solid]]:
    """The screw in its place, and on its way there: along its axis, or laid in across it."""
    radius, thick = (screw.head_diameter + limits.KNURL) / 2, screw.diameter / 2
    head = cone((radius, radius), (limits.PLAN, screw.head_height))
    shank = cone((thick, thick), (-one.length, 0.0))
    named = f"a screw {one.thread} x {one.length:g}"
    yield f"the shank of {named}", shank
    if abs(lay[2]) > np.cos(np.pi / 4):
        yield f"the head of {named}", swept(head, np.array((0.0, 0.0, AWAY)))
        return
    yield f"the head of {named}", swept(head, np.array((0.0, 0.0, one.length)))
    for part in (head, shank):
        back = part.translate((0.0, 0.0, one.length + limits.PLAN))
        yield f"{named}, laid in,", swept(back, lay * AWAY)


def _nut_gauges(one: Fastener, size: Nut, lay: Array) -> Iterator[tuple[str, Solid]]:
    """The nut on its way to its place."""
    body = hexagon(size.across_flats, (-one.grip - size.height, -one.grip - limits.PLAN))
    yield f"a nut {one.thread}", swept(body, lay * AWAY)


def _bears(about: Subject, what: str, pushed: Solid, piece: Solid, area: float) -> None:
    """What is pushed on by LEAN_ON rests on enough of its face, `area` mm² without the screw."""
    share = (pushed ^ piece).volume() / LEAN_ON / area
    message = f"{100 * share:.0f} % of its {what}'s face have something to rest on"
    about.expect(share >= limits.SEATED, "verify.fastener", message, share, limits.SEATED)


def _fits(about: Subject, gauge: Solid, piece: Solid, code: str, message: str) -> None:
    """Whether a gauge shares nothing with a piece."""
    shared = gauge ^ piece
    volume = float(shared.volume())
    if gauge.is_empty():
        about.fail(code, f"{message}: its stated size is none")
    elif volume <= limits.CRUMB:
        about.expect(True, code, "")
    else:
        low, high = extent(shared)
        (x, y, _), from_z, to_z = (low + high) / 2, low[2], high[2]
        where = f"about ({x:.2f}, {y:.2f}), z = {from_z:.2f} to {to_z:.2f}"
        about.fail(code, f"{message}: {volume:.2f} mm³ {where}")


def _judge_knobs(manifest: Manifest, solids: Mapping[str, Solid], ledger: Ledger) -> None:
    """Every knob goes on a pinion from above, and turns it."""
    kinds = {placed.name: part.kind for part in manifest.parts for placed in part.placed}
    pairs = {
        (knob, pinion)
        for one in manifest.fasteners
        for knob in one.pieces
        for pinion in one.pieces
        if kinds.get(knob) == "knob" and kinds.get(pinion) == "pinion"
    }
    for kind, named in (("knob", {knob for knob, _ in pairs}), ("pinion", {p for _, p in pairs})):
        for name in (name for name, of in kinds.items() if of == kind and manifest.stations):
            message = f"no screw is stated that holds this {kind}"
            ledger.about(MANIFEST, name).expect(name in named, "verify.unstated", message)
    for name, other in sorted(pairs):
        if name not in solids or other not in solids:
            continue
        about, knob, pinion = ledger.about("STL", name), solids[name], solids[other]
        for up in limits.KNOB_WAY:
            message = f"{up:g} mm up, does not go over {other}"
            _fits(about, knob.translate((0.0, 0.0, up)), pinion, "verify.knob", message)
        x, y, _ = extent(pinion).mean(axis=0)
        for degrees in (limits.KNOB_TURN, -limits.KNOB_TURN):
            about_axis = knob.translate((-x, -y, 0.0)).rotate((0, 0, degrees)).translate((x, y, 0))
            shared = about_axis ^ pinion
            high = float(np.ptp(extent(shared), axis=0)[2]) if shared.volume() > 0 else 0.0
            message = f"turned by {degrees:g} degrees holds {other} over {high:.2f} mm of height"
            drives, numbers = high >= limits.KNOB_HOLD, (high, limits.KNOB_HOLD, 0.0)
            about.expect(drives, "verify.knob", message, *numbers, "mm")


def _judge_list(manifest: Manifest, ledger: Ledger) -> None:
    """What is to be bought is what the parts take."""
    if not manifest.stations:
        return
    screws = [f"{one.thread} x {one.length:g}" for one in manifest.fasteners]
    bushes = [
        f"{hole.diameter:g} x {guide.bush.outside:g} x {guide.bush.length:g} mm"
        for hole, guide in manifest.guided
        if guide.bush
    ]
    needed: Mapping[str, Iterable[str]] = {
        "ISO 4762": screws,
        "ISO 4032": [one.thread for one in manifest.fasteners],
        "DIN 179": bushes,
    }
    for standard, sizes in needed.items():
        listed = Counter[str]()
        for row in manifest.hardware:
            listed[row.size] += row.count if row.standard == standard else 0
        needs = ", ".join(f"{count} of {size}" for size, count in sorted(Counter(sizes).items()))
        message = f"the parts take {needs or 'none'} of {standard}, the list says otherwise"
        about = ledger.about(MANIFEST, "what is bought")
        about.expect(+listed == Counter(sizes), "verify.hardware", message)


# -- the mark -------------------------------------------------------------------------------------


def _judge_sight(evidence: Evidence, ledger: Ledger) -> None:
    """At either edge an eye above, within a cone, sees the ski at x = 0: there the mark is."""
    manifest = evidence.manifest
    ladders = {ladder.part for ladder in manifest.ladders}
    for part in manifest.parts if manifest.stations else ():
        body, mesh = evidence.solids.get(part.name), evidence.bodies.get(part.name)
        if part.kind != "body" or part.name in ladders or body is None or mesh is None:
            continue
        low, high = mesh.vertices[:, 1].min(), mesh.vertices[:, 1].max()
        top = float(mesh.vertices[:, 2].max()) + AWAY
        wide = limits.MARK_SEEN + top * float(np.tan(np.radians(limits.VIEW)))
        sides = (("left", high - limits.SIGHT_IN), ("right", low + limits.SIGHT_IN))
        for side, y in sides:
            message = f"in the way of an eye over the {side} sight window, above the mark"
            gauge = cone((limits.MARK_SEEN, wide), (0.0, top), 0.0, float(y))
            _fits(ledger.about("STL", part.name), gauge, body, "verify.window", message)
