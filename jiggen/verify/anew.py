"""The layout and the drilling done anew, from the pattern's text, and the record held to them.

`jiggen.layout` and `jiggen.drilling` are arithmetic that the record was made by as well: what is
found here is a record that was changed, or that belongs to another pattern or job.
"""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from jiggen.drilling import check_all_boots, screws_of
from jiggen.errors import InputError
from jiggen.files import MANIFEST, PATTERN_FILE
from jiggen.layout import Layout, layouts, whole_boots
from jiggen.pattern.model import Pattern
from jiggen.verify import limits
from jiggen.verify.evidence import Evidence
from jiggen.verify.reading.asked import Job
from jiggen.verify.reading.manifest import Manifest
from jiggen.verify.results import Ledger
from jiggen.verify.same import is_number, judge_same

Layouts = Mapping[float, Layout]
"""By boot, mm."""


def judge_layout(manifest: Manifest, job: Job, pattern: Pattern, ledger: Ledger) -> Layouts | None:
    """Every hole of the record against the layout of `job`; None when there is no layout."""
    try:
        found = _lay_out(job, pattern)
    except InputError as error:
        about = ledger.about(PATTERN_FILE, "layout")
        about.fail("verify.layout", f"there is none for this job: {error.findings[0].message}")
        return None
    longest = found[max(found)]
    stated = {hole.id: hole for hole in manifest.holes}
    for name in sorted(stated.keys() - set(longest.ids)):
        about = ledger.about(MANIFEST, name)
        about.fail("verify.layout", "a hole that the pattern does not have")
    columns = (longest.groups, longest.positions, longest.diameters, longest.depths)
    for name, group, (x, y), diameter, depth in zip(longest.ids, *columns, strict=True):
        about = ledger.about(MANIFEST, name)
        if (hole := stated.get(name)) is None:
            about.fail("verify.layout", f"the pattern has it at ({x:.3f}, {y:.3f})")
            continue
        message = f"is of group {hole.group!r}, {group!r} in the pattern"
        about.expect(hole.group == group, "verify.layout", message)
        for what, one, other in (
            ("at x", hole.x, x),
            ("at y", hole.y, y),
            ("for a drill of", hole.diameter, diameter),
            ("deep by", hole.depth, depth),
        ):
            message = f"{what} {one:.3f} mm; by pattern and job {other:.3f} mm"
            limit = limits.FIGURE
            about.within(one, float(other), limit, "verify.layout", message)
    _judge_boots(manifest, found, ledger)
    return found


def _lay_out(job: Job, pattern: Pattern) -> Layouts:
    least, most = job.boots or (0.0, 0.0)
    boots: tuple[float, ...] = (least,)
    if least != most:
        boots = whole_boots(math.floor(least), math.ceil(most))
    how: dict[str, Any] = {"mount_shift": job.shift, "core": job.core, "side": job.side}
    return layouts(pattern, boots, **how)


def _judge_boots(manifest: Manifest, found: Layouts, ledger: Ledger) -> None:
    """The place of every hole for every boot of a range: as recorded, or the one of all holes."""
    same = {hole.id: hole.x for hole in manifest.holes}
    places = {entry.boot: entry.x for entry in manifest.boots}
    if manifest.boots and places.keys() != found.keys():
        about = ledger.about(MANIFEST, "boots")
        about.fail("verify.layout", "not those that were asked for, one by one")
    for boot, layout in found.items():
        stated = places.get(boot, {}) if manifest.boots else same
        xs = np.array([stated.get(name, np.nan) for name in layout.ids])
        apart = np.abs(xs - layout.positions[:, 0])
        worst = int(np.nan_to_num(apart, nan=np.inf).argmax())
        name, wanted = layout.ids[worst], float(layout.positions[worst, 0])
        message = f"{name} at x {xs[worst]:.3f} mm; by pattern and job {wanted:.3f} mm"
        about = ledger.about(MANIFEST, f"boot {boot:g}")
        about.within(float(xs[worst]), wanted, limits.FIGURE, "verify.layout", message)


def judge_plate_holes(manifest: Manifest, plate_hole: float, ledger: Ledger) -> None:
    """Holes of a trial plate that must be as large as the plate's own."""
    wanted = plate_hole + manifest.inputs.hole_fit
    for guide in manifest.guides:
        message = f"hole {guide.bore:.3f} mm wide; {wanted:.3f} mm for the plate's own"
        about = ledger.about(MANIFEST, guide.id)
        about.within(guide.bore, wanted, limits.FIGURE, "verify.bore", message)


def judge_drilling(
    evidence: Evidence, job: Job, pattern: Pattern, found: Layouts, ledger: Ledger
) -> None:
    """The drilling of a jig: stops, screws and warnings; its guides; openings that are stations."""
    manifest = evidence.manifest
    _judge_openings(manifest, ledger)
    _judge_guides(manifest, ledger)
    guides = {guide.id: guide for guide in manifest.guides}
    tops = {name: guide.top_z for name, guide in guides.items() if guide.top_z is not None}
    longest = found[max(found)]
    if lacking := sorted(set(longest.ids) - tops.keys()):
        about = ledger.about(MANIFEST, ", ".join(lacking))
        about.fail("verify.drilling", "no height that its depth stop comes down on")
        return
    stated = manifest.drilling or {}
    order = [longest, *(found[boot] for boot in sorted(found) if found[boot] is not longest)]
    state, area = job.ski_in_hand, job.ski_in_hand.area or pattern.area
    measured = type(state)(state.thickness, state.widths, area)
    chucks = {name: guide.chuck_z for name, guide in guides.items()}
    try:
        wanted = check_all_boots(
            order, tops, measured, job.drilling_limits, screws_of(pattern), chucks, _deeper(stated)
        ).model_dump(mode="json")
    except InputError as error:
        about = ledger.about(MANIFEST, "drilling")
        about.fail("verify.drilling", f"not to be checked anew: {error.findings[0].message}")
        return
    for key in ("stops", "holes", "errors", "warnings"):
        one, other = _told(stated.get(key)), _told(wanted[key])
        judge_same(f"drilling.{key}", one, other, limits.FIGURE, "verify.drilling", ledger)


def _deeper(drilling: Mapping[str, Any]) -> dict[str, float]:
    """How much too deep each hole may come out, as the record has it: the budget's, not tried."""
    rows = drilling.get("holes")
    found = {}
    for row in rows if isinstance(rows, list) else ():
        if isinstance(row, Mapping) and is_number(row.get("too_deep")):
            found[str(row.get("id"))] = float(row["too_deep"])
    return found


def _told(rows: Any) -> Any:
    """Of findings what they are about, for their words may be another version's; else the rows."""
    if isinstance(rows, list) and all(isinstance(row, Mapping) and "code" in row for row in rows):
        return [{key: row.get(key) for key in ("code", "key")} for row in rows]
    return rows


def _judge_openings(manifest: Manifest, ledger: Ledger) -> None:
    """Every opening besides the holes belongs to a station, on the centre line, one of each."""
    stations = {f"{one.name} station": (one.part, one.x) for one in manifest.stations}
    for opening in manifest.openings:
        part, x = stations.pop(opening.name, ("", np.nan))
        holds = opening.part == part and max(abs(opening.x - x), abs(opening.y)) <= limits.FIGURE
        about = ledger.about(MANIFEST, opening.name)
        message = (
            f"an opening at ({opening.x:.3f}, {opening.y:.3f}) that belongs to none of the stations"
        )
        about.expect(holds, "verify.opening", message)


def _judge_guides(manifest: Manifest, ledger: Ledger) -> None:
    """Whether each hole has a bush, as asked, and how wide its guide must be for it or its drill.

    Where bush and depth stop rest is found in the mesh, by `jiggen.verify.gauges`.
    """
    asked = manifest.inputs
    for hole, guide in manifest.guided:
        about, bush = ledger.about(MANIFEST, guide.id), guide.bush
        message = f"{'a bush' if bush else 'no bush'} in it, but {asked.bush} was asked for"
        about.expect((bush is None) is (asked.bush == "none"), "verify.bore", message)
        wanted = hole.diameter + asked.guide_clearance + asked.hole_fit
        if bush:
            wanted = bush.outside + asked.bush_fit
        message = f"guide {guide.bore:.3f} mm wide; {wanted:.3f} mm for what goes through it"
        about.within(guide.bore, wanted, limits.FIGURE, "verify.bore", message)
