"""What a G-code file states of how it was sliced, against how the part is best printed."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from jiggen.verify.reading.entries import Advice
from jiggen.verify.reading.gcode import Toolpath
from jiggen.verify.reading.walls import Piece
from jiggen.verify.results import Subject

LAYER = 0.005  # mm
# Names of one setting in common programs' files: from files of theirs, and from memory.
WALLS = ("perimeters", "wall_loops", "wall_line_count")
SKINS = (
    ("top_solid_layers", "top_shell_layers", "top_layers"),
    ("bottom_solid_layers", "bottom_shell_layers", "bottom_layers"),
)
INFILL = ("fill_density", "sparse_infill_density", "infill_sparse_density")
MATERIAL = ("filament_type", "material_type")
NOUGHT = {  # settings that must be 0, and what they do
    "xy_size_compensation": "moves all walls",
    "xy_contour_compensation": "moves outer walls",
    "xy_hole_compensation": "moves the walls of holes",
    "xy_inner_size_compensation": "moves the walls of holes",
    "hole_size_compensation": "moves the walls of holes",
    "xy_offset": "moves all walls",
    "hole_xy_offset": "moves the walls of holes",
    "spiral_vase": "lays a single wall",
    "spiral_mode": "lays a single wall",
    "magic_spiralize": "lays a single wall",
    "raft_layers": "lays a raft",
}
TIME = ("estimated printing time (normal mode)", "total estimated time", "model printing time")
FILAMENT = ("total filament used [g]", "total filament weight [g]", "filament used [g]")
FILAMENT_LONG = ("filament used [mm]", "total filament length [mm]")
SUPPORT = re.compile(r"support")
NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?")


@dataclass(frozen=True)
class Stated:
    """How a file was sliced; mm, %; None where it does not say."""

    layer: float
    first_layer: float
    walls: int | None
    skins: int | None
    infill: float | None
    material: str | None
    time: str | None
    filament: str | None


def stated_in(toolpath: Toolpath, pieces: Sequence[Piece]) -> Stated:
    """What a file states; layers' heights are those it lays."""
    settings = toolpath.settings
    walls, infill = _number(settings, WALLS), _number(settings, INFILL)
    skins = [found for names in SKINS if (found := _number(settings, names)) is not None]
    material = _first(settings, MATERIAL)
    return Stated(
        round(float(np.median([piece.thickness for piece in pieces] or [0.0])), 4),
        round(float(min((piece.tops[0] for piece in pieces), default=0.0)), 4),
        None if walls is None else int(walls),
        int(min(skins)) if skins else None,
        infill,
        re.split(r"[;,]", material)[0].strip(' "') if material else None,
        _time(settings),
        _filament(settings),
    )


def judge_settings(stated: Stated, advice: Advice, toolpath: Toolpath, about: Subject) -> list[str]:
    """Check a file's settings; what it does not state is returned as notes."""
    layer = advice.layer
    for height, what in ((stated.layer, "layers"), (stated.first_layer, "the first layer")):
        message = f"{what} {height:g} mm high, the parts are designed in layers of {layer:g} mm"
        about.within(height, layer, LAYER, "verify.gcode-layer", message)
    for found, least, word, unit in (
        (stated.walls, advice.walls, "walls", ""),
        (stated.skins, advice.skins, "skins", ""),
        (stated.infill, advice.infill, "infill", " %"),
    ):
        what = {"walls": "lines of wall", "skins": "solid layers at top or bottom"}.get(word, word)
        message = (
            f"{0 if found is None else found:g}{unit} {what}, at least {least}{unit} are needed"
        )
        enough = found is None or found >= least
        about.expect(enough, f"verify.gcode-{word}", message, found, least)
    material = stated.material
    same = material is None or re.split(r"[-+ ]", material.upper())[0] == advice.material.upper()
    message = f"sliced for {material}, the jig was designed for {advice.material}"
    about.expect(same, "verify.gcode-material", message)
    roles = sorted(role for role in toolpath.lengths if SUPPORT.match(role))
    message = "it lays support material: switch it off, no part needs any"
    about.expect(not roles, "verify.gcode-support", message)
    for name, does in NOUGHT.items():
        found = _number(toolpath.settings, (name,)) or 0.0
        message = f"{name} is {found:g}: it {does}; set it to 0"
        about.expect(found == 0.0, "verify.gcode-compensation", message, found, 0.0)
    names = ("walls", "skins", "infill", "material")
    unstated = [name for name in names if getattr(stated, name) is None]
    return [f"the file does not state its {', '.join(unstated)}: look yourself"] if unstated else []


def _first(settings: Mapping[str, str], names: Sequence[str]) -> str | None:
    return next((settings[name] for name in names if settings.get(name)), None)


def _number(settings: Mapping[str, str], names: Sequence[str]) -> float | None:
    found = NUMBER.match(_first(settings, names) or "")
    return float(found[0]) if found else None


def _time(settings: Mapping[str, str]) -> str | None:
    if found := _first(settings, TIME):
        return found.rpartition(":")[2].strip()
    if (seconds := _number(settings, ("time",))) is not None:
        return f"{seconds // 3600:.0f}h {seconds % 3600 // 60:.0f}m"
    return None


def _filament(settings: Mapping[str, str]) -> str | None:
    if weight := _number(settings, FILAMENT):
        return f"{weight:.0f} g"
    if length := _number(settings, FILAMENT_LONG):
        return f"{length / 1000:.1f} m"
    return settings.get("filament used")
