"""The record of what is built, from its design, and a gauge's blank for measurements."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass
from importlib.metadata import PackageNotFoundError, version

import numpy as np

from jiggen import __version__
from jiggen.accuracy.causes import print_limits
from jiggen.accuracy.lift import hold_down
from jiggen.accuracy.terms import default_terms
from jiggen.design.engraving import DEPTH, RAIL_EDGE
from jiggen.design.envelopes import Room
from jiggen.design.fit_ladder import CLEARANCES
from jiggen.design.gauge import NAME, THICKNESS, Gauge, Readings
from jiggen.design.guides import Guide
from jiggen.design.jig import Design
from jiggen.design.pieces import Piece, list_hardware, list_pieces
from jiggen.design.plan import STATION_ERROR
from jiggen.design.reusable import Reusable
from jiggen.drilling import DrillingLimits, SkiState
from jiggen.export.bodies import fasteners, gauge_body, jig_bodies
from jiggen.export.engraved import on_gauge, on_jig
from jiggen.layout import Layout
from jiggen.pattern.model import Screw
from jiggen.record import entries
from jiggen.record.model import BootLayout, FitSizes, GaugeRecord, JigRecord
from jiggen.record.results import Accuracy, Drilling, Plastic

APART = 24.0  # mm between halves in pictures
LIBRARIES = ("cadquery", "cadquery-ocp", "numpy", "shapely", "trimesh", "vtk", "ezdxf")


@dataclass(frozen=True, eq=False)
class Known:
    """What is known of a jig before it is drawn, for its record.

    `rooms` say by hole what there is room for; `boots` are the shortest and the longest of a
    range, `reusable` the jig with ladders for them; `key` tells a later run whether the jig that
    it finds is the one it wants.
    """

    accuracy: Accuracy
    drilling: Drilling
    rooms: Mapping[str, Room]
    ski: SkiState
    limits: DrillingLimits
    screws: Mapping[str, Screw]
    boots: tuple[float, float] | None = None
    reusable: Reusable | None = None
    key: str = ""


def jig_record(
    design: Design,
    parts: tuple[entries.Part, ...],
    known: Known,
    plastic: Plastic,
    *,
    beds: tuple[entries.PrintBed, ...],
    compensation: entries.Compensated | None = None,
) -> JigRecord:
    """The record of a jig but for verification and file list."""
    layout, shape, jig = design.layout, design.mechanism.station, known.reusable
    widest = 2 * max(shape.cone_radius, shape.flange_radius)  # of a station's round opening
    return JigRecord(
        versions=versions(),
        inputs=entries.JigInputs.model_validate(
            {
                **asdict(design.settings),
                **vars(layout),
                "shift": layout.mount_shift,
                "boots": known.boots,
                "printer": compensation.printer if compensation else None,
                "ski_in_hand": asdict(known.ski),
                "drilling_limits": asdict(known.limits),
                "screws": {hole: asdict(screw) for hole, screw in known.screws.items()},
            }
        ),
        holes=hole_entries(layout),
        guides=tuple(
            guide_entry(guide, body.name, guide.bush_top_z, known.rooms[guide.id])
            for body in design.bodies
            for guide in body.guides
        ),
        openings=tuple(
            entries.Opening(
                name=f"{one.name} station", part=one.part, x=one.x, y=0.0, diameter=widest
            )
            for body in design.bodies
            for one in body.stations
        ),
        joint=entries.Joint(x=0.0, screws=len(design.joint.screw_y)) if design.joint else None,
        stations=design.stations,
        index_lines=tuple(index_lines(design)),
        sideways=entries.Sideways(
            station_error=STATION_ERROR,
            holes={
                hole: round(error, 4) for hole, error in zip(layout.ids, design.errors, strict=True)
            },
        ),
        print_check=tuple(_print_lengths(design)),
        engraved=tuple(on_jig(design)),
        parts=parts,
        clamps=tuple(
            entries.ClampMark(part=body.name, x=x, y=y)
            for body in design.bodies
            for x, y in body.clamps
        ),
        hardware=list_hardware(design),
        fasteners=tuple(fasteners(design)),
        bodies=tuple(jig_bodies(design)),
        beds=beds,
        compensation=compensation,
        accuracy=known.accuracy,
        drilling=known.drilling,
        plastic=plastic,
        hold=hold_down([half.design for half in jig.halves] if jig else [design], plastic),
        ladders=tuple(half.ladder for half in jig.halves if half.ladder) if jig else (),
        boots=tuple(
            BootLayout(boot=boot, x=dict(zip(one.ids, one.positions[:, 0].tolist(), strict=True)))
            for boot, one in (sorted(jig.layouts.items()) if jig else ())
        ),
        shown={name: dx for name, dx in apart(design).items() if dx} if jig else {},
        key=known.key,
    )


def index_lines(design: Design) -> Iterator[entries.IndexLine]:
    """Where the line across is on top and underside of each station's rails, as they are placed."""
    rail, edge = design.mechanism.rail, 1.0  # mm in from the line's end, where no number is
    point = np.array([rail.rack.tip_x + RAIL_EDGE + edge, rail.index_y, 0.0, 1.0])
    poses = {one.name: one.pose for piece in list_pieces(design) for one in piece.placed}
    for station in design.stations:
        names = f"rail {station.name} left", f"rail {station.name} right"
        at = tuple(tuple((poses[name] @ point)[:2].tolist()) for name in names)
        for z in (rail.bottom_rack_z + DEPTH, rail.top_z - DEPTH):
            yield entries.IndexLine.model_validate(
                {"station": station.name, "rails": names, "at": at, "z": z}
            )


def _print_lengths(design: Design) -> Iterator[entries.PrintLength]:
    """What a caliper takes on each body before it is used, with its limits."""
    notches = ((body.name, body.notch) for body in design.bodies if body.notch)
    for part, length in ((part, one) for part, notch in notches for one in notch.lengths):
        accept, reprint = print_limits(length.nominal, default_terms().jig.print_scale)
        yield entries.PrintLength(
            **vars(length),
            part=part,
            z=design.settings.body / 2,
            nominal=length.nominal,
            accept=accept,
            reprint=reprint,
        )


def gauge_record(
    gauge: Gauge, volumes: Mapping[str, float], beds: tuple[entries.PrintBed, ...]
) -> GaugeRecord:
    """The record but for verification and file list; `volumes` in mm³ by part name."""
    return GaugeRecord(
        versions=versions(),
        inputs=entries.GaugeInputs(
            bed=entries.BedSize(**asdict(gauge.bed)),
            bush=entries.BushSize(**asdict(gauge.bush)) if gauge.bush else "none",
            caliper=gauge.caliper,
        ),
        span=gauge.span,
        fits=FitSizes(bush_fit=gauge.allowances, slide=CLEARANCES),
        holes=tuple(
            entries.Hole(
                id=guide.id,
                group="pockets" if guide.bush else "holes",
                x=guide.x,
                y=guide.y,
                diameter=guide.drill,
                depth=THICKNESS,
            )
            for guide in gauge.guides
        ),
        guides=tuple(guide_entry(guide, NAME) for guide in gauge.guides),
        pegs=gauge.pegs,
        bodies=(gauge_body(gauge),),
        engraved=tuple(on_gauge(gauge)),
        parts=part_entries(gauge.pieces, volumes),
        beds=beds,
    )


def hole_entries(layout: Layout) -> tuple[entries.Hole, ...]:
    """A layout's holes, in its order."""
    keys = ("id", "group", "x", "y", "diameter", "depth")
    numbers = (*layout.positions.T, layout.diameters, layout.depths)
    rows = zip(layout.ids, layout.groups, *(column.tolist() for column in numbers), strict=True)
    return tuple(entries.Hole.model_validate(dict(zip(keys, row, strict=True))) for row in rows)


def guide_entry(
    guide: Guide, part: str, top_z: float | None = None, room: Room | None = None
) -> entries.Guide:
    """What guides the drill at a hole of `part`, where its stop comes down, and its room."""
    own = {"part": part, "bore_z": guide.bore_z, "top_z": top_z, **(vars(room) if room else {})}
    return entries.Guide.model_validate(asdict(guide) | own)


def part_entries(pieces: Iterable[Piece], volumes: Mapping[str, float]) -> tuple[entries.Part, ...]:
    """The printed parts and where their pieces go; `volumes` in mm³ by part name."""
    found = []
    for piece in pieces:
        placed = [  # in full precision: a rounded matrix would no longer be rigid
            {"name": place.name, "to_ski": (piece.to_ski(place) + 0.0).tolist()}
            for place in piece.placed
        ]
        made = {
            "file": f"parts/{piece.name}.stl",
            "count": len(placed),
            "volume": round(volumes[piece.name], 3),
            "to_ski": placed[0]["to_ski"],
            "placed": placed,
        }
        found.append(entries.Part.model_validate(vars(piece) | made))
    return tuple(found)


def apart(design: Design) -> dict[str, float]:
    """By placed piece, how far along the ski a picture moves it so that no halves overlap, mm.

    Halves with a joint fit together as they are.
    """
    moved: dict[str, float] = {}
    reached = None
    for body in sorted(design.bodies, key=lambda body: body.plate.start):
        beyond = 0.0 if reached is None else reached + APART - body.plate.start
        moved[body.name] = 0.0 if design.joint else max(0.0, beyond)
        reached = body.plate.stop + moved[body.name]
    placed = [placed for piece in list_pieces(design) for placed in piece.placed if placed.body]
    return moved | {piece.name: moved[piece.body] for piece in placed}


def versions() -> dict[str, str]:
    """Versions of jiggen and of the libraries that decide what a file looks like."""
    found = {"jiggen": __version__}
    for name in LIBRARIES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "unknown"
    return found


HEAD = """\
# Measured on a gauge print: fill in what your caliper shows, in mm, with a decimal point:
# value = 106.12. Leave a row as it is where you did not measure.
# The numbers are those of the sheet, and so is what each row should be about.

measurements = 1
units = "mm"
caliper = 0.02  # mm, how far a reading may be off (one standard deviation)

[features]  # what was asked of the printer, in the bed's frame: do not change it"""
# The caliper's is the standard uncertainty of a reading: common practice, no source.
FITS = """\
[fits]
bush_fit = ""  # the pocket that held the bush, as engraved beside it: 0.15
slide = ""     # the slot in which the rack ran best, likewise
"""


def measurements_toml(readings: Readings) -> str:
    """The blank that is filled in by hand: what was asked, and one row per reading."""
    lines = [HEAD]
    for one in readings.features:
        x, y, size = (round(value, 6) for value in (one.x, one.y, one.diameter))
        lines.append(f'{one.id} = {{kind = "{one.kind}", at = [{x}, {y}], diameter = {size}}}')
    return "\n".join([*lines, "", *_rows(readings), FITS])


def _rows(readings: Readings) -> Iterator[str]:
    for reading in readings.distances:
        one, other = reading.of
        manner = "over both pegs" if one.kind == "peg" else "far rim to far rim"
        what = f"{reading.number}: {one.id} to {other.id}, {manner}"
        given = f'between = ["{one.id}", "{other.id}"]\nedges = "outside"'
        yield _row("distance", f"{what}: about {reading.asked:.2f}", given)
        yield _row("distance", f"{what}, again", given)
    for reading in readings.diameters:
        what, given = f"{reading.number}: mean of along x and along y", f'of = "{reading.of[0].id}"'
        yield _row("diameter", f"{what}, about {reading.asked:.2f}", given)
        yield _row("diameter", f"{what}, again", given)
    for reading in readings.heights:
        what = f"the top of peg {reading.of[0].id}" if reading.of else "the frame itself"
        yield _row("height", f"{reading.number}: {what}", f"asked = {round(reading.asked, 6)}")


def _row(kind: str, note: str, given: str) -> str:
    return f'[[{kind}]]  # {note}\n{given}\nvalue = ""\n'
