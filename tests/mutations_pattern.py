"""Mutations of the record, of what was asked for, and of the list of files, all hashes renewed."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import faults
from mutation import Mutation
from verify_samples import read_facets, write_facets

from jiggen.pattern import find_pattern

ASKED, LAYOUT, DRILLING = "verify.asked", "verify.layout", "verify.drilling"
JIG_MARK = "verify.jig-mark"
PRINTER, CHANGED = "verify.printer", "verify.compensation"
LEFT_OUT, UNLISTED = "verify.left-out", "verify.unlisted"
MISSING, UNREADABLE = "verify.file-missing", "verify.unreadable"
Apply = Callable[[Path], None]
POINT = r"(#{}\s*=\s*CARTESIAN_POINT\('[^']*',\()([^,]*)(,)"


def edited(change: Callable[[dict[str, Any]], object]) -> Apply:
    """A change of the record."""

    def apply(folder: Path) -> None:
        faults.edit_manifest(folder, lambda data: change(data) and None)

    return apply


def inputs(**values: Any) -> Apply:
    """Other inputs in the record."""
    return edited(lambda data: data["inputs"].update(values))


def text(name: str, *changes: tuple[str, str]) -> Apply:
    """A file in which words are others."""

    def apply(folder: Path) -> None:
        found = (folder / name).read_text(encoding="utf-8")
        for old, new in changes:
            assert old in found, old
            found = found.replace(old, new)
        (folder / name).write_text(found, encoding="utf-8")

    return apply


def both(*changes: Apply) -> Apply:
    def apply(folder: Path) -> None:
        for change in changes:
            change(folder)

    return apply


def gone(*names: str, delete: bool = True) -> Apply:
    """Files left out of the list, and deleted."""

    def apply(folder: Path) -> None:
        faults.edit_manifest(
            folder, lambda data: [data["files"].pop(one) for one in names] and None
        )
        for name in names if delete else ():
            (folder / name).unlink()

    return apply


def written(name: str, data: bytes | str) -> Apply:
    return lambda folder: (
        (folder / name).write_bytes(data if isinstance(data, bytes) else data.encode()) and None
    )


def copied(name: str, *, listed: bool = False) -> Apply:
    """One more STL file, in the list as well or not."""

    def apply(folder: Path) -> None:
        shutil.copy(folder / "parts/body-toe.stl", folder / name)
        if listed:
            faults.edit_manifest(
                folder, lambda data: data["files"].update({name: {"bytes": 0, "sha256": "0" * 64}})
            )

    return apply


def _deeper(data: dict[str, Any]) -> None:
    """Every hole 10 mm deeper, and all that is said of it."""
    for hole in data["holes"]:
        hole["depth"] += 10.0
    for row in data["drilling"]["holes"]:
        row["depth"] += 10.0
    for stop in data["drilling"]["stops"]:
        for key in ("depth", "from_tip", "from_corners", "leave"):
            stop[key] += 10.0


def _other_jig_mark(data: dict[str, Any]) -> None:
    """One sign of the mark is another, wherever the record has it."""
    _mark_as(data, lambda mark: mark[:-1] + ("A" if mark[-1] != "A" else "C"))


def _jig_mark_turned(data: dict[str, Any]) -> None:
    _mark_as(data, lambda mark: mark[::-1])


def _mark_as(data: dict[str, Any], change: Callable[[str], str]) -> None:
    old, new = data["jig_mark"], change(data["jig_mark"])
    data["jig_mark"] = new
    for sign in (sign for face in data["engraved"] for sign in face["signs"]):
        sign["text"] = new if sign["text"] == old else sign["text"]


def _drill(diameter: float, throat: float | None = None) -> Callable[[dict[str, Any]], None]:
    def change(data: dict[str, Any]) -> None:
        for one in (*data["holes"],):
            one["diameter"] = diameter
        for row in (*data["drilling"]["holes"], *data["drilling"]["stops"]):
            row["drill"] = diameter
        for guide in data["guides"] if throat else ():
            guide["throat"] = throat

    return change


def _lower_tops(data: dict[str, Any], by: float = 2.0) -> None:
    """Guides that are said to be lower, and stops set by that."""
    for guide in data["guides"]:
        guide["top_z"] -= by
    for stop in data["drilling"]["stops"]:
        for key in ("bush_top", "from_tip", "from_corners", "leave"):
            stop[key] -= by


def _as_opening(data: dict[str, Any]) -> None:
    hole = next(one for one in data["holes"] if one["id"] == "toe-5")
    for key in ("holes", "guides"):
        data[key] = [one for one in data[key] if one["id"] != "toe-5"]
    place = {key: hole[key] for key in ("x", "y")}
    opening = {"name": "sight", "part": "body-toe", "diameter": 12.0, **place}
    data["openings"].append(opening)
    for key in ("holes", "stops"):
        for row in data["drilling"][key]:
            if key == "stops":
                row["holes"] = [name for name in row["holes"] if name != "toe-5"]
    rows = data["drilling"]
    rows["holes"] = [row for row in rows["holes"] if row["id"] != "toe-5"]
    rows["stops"] = [row for row in rows["stops"] if row["holes"]]


def all_moved(folder: Path, by: float = 1.0) -> None:
    """Holes, openings, stations and poses, and the pieces in the STEP; the mark is not."""

    def change(data: dict[str, Any]) -> None:
        for key in ("holes", "openings", "stations", "clamps"):
            for one in data[key]:
                one["x"] += by
        for row in data["drilling"]["holes"]:
            row["x"] += by
        for line in data["index_lines"]:
            line["at"] = [[x + by, y] for x, y in line["at"]]
        for length in data["print_check"]:
            if length["direction"] == "along":
                length["span"] = [x + by for x in length["span"]]
            else:
                length["at"] += by
        for part in data["parts"]:
            for pose in (part, *part["placed"]):
                pose["to_ski"][0][3] += by

    faults.edit_manifest(folder, change)
    path = folder / "jig.step"
    step = path.read_text(encoding="utf-8")
    placed = re.findall(r"ITEM_DEFINED_TRANSFORMATION\('[^']*','[^']*',#\d+,#(\d+)\)", step)
    for axes in dict.fromkeys(placed):
        origin = re.search(rf"#{axes}\s*=\s*AXIS2_PLACEMENT_?3D\('[^']*',#(\d+)", step)
        assert origin
        step, count = re.subn(
            POINT.format(origin[1]), lambda m: f"{m[1]}{float(m[2]) + by:.12f}{m[3]}", step
        )
        assert count == 1
    path.write_text(step, encoding="utf-8")


def shrunk(figures: str = "") -> Apply:
    """Every part 1.5 % small, as if for a printer; its `figures` are forged as well, if given."""

    def apply(folder: Path, by: float = 0.985) -> None:
        for path in (folder / "parts").glob("*.stl"):
            write_facets(path, read_facets(path) * by)
        entry = {"printer": "shed", "matrix": [[by, 0.0], [0.0, by]], "height": by}

        def change(data: dict[str, Any]) -> None:
            data["compensation"] = entry
            data["inputs"]["printer"] = "shed"
            if figures:
                data["asked"]["printer"] = "printer.toml"
                data["files"]["printer.toml"] = {"bytes": 0, "sha256": "0" * 64}

        faults.edit_manifest(folder, change)
        if figures:
            text("job.toml", ('kind = "jig"\n', 'kind = "jig"\nprinter = "printer.toml"\n'))(folder)
            (folder / "printer.toml").write_text(figures, encoding="utf-8")

    return apply


def _scale(by: float) -> Callable[[dict[str, Any]], None]:
    def change(data: dict[str, Any]) -> None:
        data["compensation"]["matrix"][0][0] *= by

    return change


FORGED = 'profile = 1\nname = "shed"\n' + "".join(
    f"scale_{axis} = {1 / 0.985!r}\n" for axis in "xyz"
)


def mutation(name: str, where: Any, apply: Apply, *codes: str, **how: Any) -> Mutation:
    return Mutation(name, where, apply, codes, **how)


MUTATIONS = [
    # -- the record says another order, and then the job does too
    mutation("boot 295", "record", inputs(boot=295.0), ASKED),
    mutation(
        "boot 295, in the job too",
        "record",
        both(inputs(boot=295.0), text("job.toml", ("[305.0, 305.0]", "[295.0, 295.0]"))),
        LAYOUT,
    ),
    mutation("mount shift 5", "record", inputs(shift=5.0), ASKED),
    mutation(
        "mount shift 5, in the job too",
        "record",
        both(inputs(shift=5.0), text("job.toml", ("shift = 0.0", "shift = 5.0"))),
        LAYOUT,
    ),
    mutation("another pattern's name", "record", inputs(pattern="Arvenal Hut Plate"), ASKED),
    mutation("metal core", "record", inputs(core="metal"), ASKED),
    mutation(
        "metal core, in the job too",
        "record",
        both(inputs(core="metal"), text("job.toml", ('core = "plain"', 'core = "metal"'))),
        LAYOUT,
    ),
    mutation("right ski", "record", inputs(side="right"), ASKED),
    mutation("mirrored pair", "record", inputs(pair="mirrored"), ASKED),
    mutation("pin line on the mark", "record", inputs(mark="pin-line"), ASKED),
    mutation("skis 60 to 140", "record", inputs(ski={"least": 60.0, "most": 140.0}), ASKED),
    mutation(
        "skis 60 to 140, in the job too",
        "record",
        both(
            inputs(ski={"least": 60.0, "most": 140.0}),
            text("job.toml", ("least = 84", "least = 60"), ("most = 112", "most = 140")),
        ),
        "verify.reach",
    ),
    mutation("looser bushes", "record", inputs(bush_fit=0.3), ASKED),
    mutation("another plastic", "record", inputs(material="ABS"), ASKED),
    mutation("no bushes", "record", inputs(bush="none"), ASKED),
    mutation("longer screws", "record", inputs(screws={}), ASKED),
    mutation(
        "no allowed area",
        "record",
        edited(lambda d: d["inputs"]["ski_in_hand"].update(area=None)),
        ASKED,
    ),
    mutation(
        "0 mm of base left will do",
        "record",
        edited(lambda d: d["inputs"]["drilling_limits"].update(base_left=0.0)),
        ASKED,
    ),
    mutation("files of the order not named", "record", edited(lambda d: d.pop("asked")), ASKED),
    mutation("no jig mark", "record", edited(lambda d: d.pop("jig_mark")), JIG_MARK),
    mutation("another jig's mark", "record", edited(_other_jig_mark), JIG_MARK),
    mutation("jig mark back to front", "record", edited(_jig_mark_turned), JIG_MARK),
    # -- holes, stops and openings of the record
    mutation("every hole 10 mm deeper", "record", edited(_deeper), LAYOUT),
    mutation("drill 3.2", "record", edited(_drill(3.2)), LAYOUT),
    mutation("drill 4.6, throat too", "record", edited(_drill(4.6, 4.6)), LAYOUT),
    mutation("every guide 2 mm lower", "record", edited(_lower_tops), "verify.stop-height"),
    mutation(
        "one guide 2 mm lower",
        "record",
        edited(lambda d: d["guides"][0].update(top_z=12.0)),
        DRILLING,
    ),
    mutation(
        "a stop set 10 mm farther",
        "record",
        edited(
            lambda d: d["drilling"]["stops"][0].update(
                from_tip=d["drilling"]["stops"][0]["from_tip"] + 10.0
            )
        ),
        DRILLING,
    ),
    mutation(
        "a drill said to be long enough",
        "record",
        edited(lambda d: d["drilling"]["stops"][0]["jobber"].update(overall=200.0)),
        DRILLING,
    ),
    mutation(
        "a point of 90 degrees",
        "record",
        edited(lambda d: d["drilling"]["stops"][0].update(point_angle=90.0)),
        DRILLING,
    ),
    mutation("toe-5 an opening", "record", edited(_as_opening), LAYOUT, "verify.opening"),
    mutation(
        "an opening at the mark",
        "record",
        edited(
            lambda d: d["openings"].append(
                {"name": "sight", "part": "body-toe", "x": 60.0, "y": 0.0, "diameter": 12.0}
            )
        ),
        "verify.opening",
    ),
    mutation(
        "a hole of another group",
        "record",
        edited(lambda d: d["holes"][0].update(group="heel")),
        LAYOUT,
    ),
    mutation(
        "two holes' names exchanged",
        "record",
        edited(lambda d: [d["holes"][0].update(id="toe-2"), d["holes"][1].update(id="toe-1")]),
        LAYOUT,
    ),
    mutation(
        "wider guides", "record", edited(lambda d: d["guides"][0].update(bore=7.3)), "verify.bore"
    ),
    mutation("all holes, poses and pieces 1 mm on", "record", all_moved, LAYOUT),
    # -- the printer
    mutation("1.5 % small, a printer in the record alone", "STL", shrunk(), PRINTER, CHANGED),
    mutation("1.5 % small, a printer's figures forged too", "STL", shrunk(FORGED), CHANGED),
    mutation(
        "0.1 % longer than its figures ask for",
        "record",
        edited(_scale(1.001)),
        PRINTER,
        product="printer",
    ),
    mutation(
        "another printer",
        "record",
        edited(lambda d: d["compensation"].update(printer="barn")),
        PRINTER,
        product="printer",
    ),
    mutation(
        "another printer's figures",
        "folder",
        text("printer.toml", ("1.002", "1.004")),
        PRINTER,
        product="printer",
    ),
    mutation(
        "the printer's figures lost",
        "folder",
        gone("printer.toml"),
        MISSING,
        LEFT_OUT,
        product="printer",
    ),
    # -- pattern and job
    mutation(
        "a pattern's hole 1 mm on",
        "folder",
        text("pattern.toml", ("14.2, 17.3", "15.2, 17.3")),
        LAYOUT,
    ),
    mutation(
        "another pattern",
        "folder",
        lambda folder: shutil.copy(find_pattern("hut-plate"), folder / "pattern.toml") and None,
        LAYOUT,
        ASKED,
    ),
    mutation("a pattern that is none", "folder", written("pattern.toml", "format = ["), UNREADABLE),
    mutation("a pattern of 2 MB", "folder", written("pattern.toml", b"#" * 2_000_000), UNREADABLE),
    mutation(
        "a pattern's name that steers a terminal",
        "folder",
        text("pattern.toml", ('"Arvenal Club Piste"', '"\\u001b[31mClub"')),
        UNREADABLE,
    ),
    mutation("a job that is none", "folder", written("job.toml", b"\xff\xfe"), UNREADABLE),
    mutation(
        "a job for a gauge", "folder", text("job.toml", ('kind = "jig"', 'kind = "gauge"')), ASKED
    ),
    mutation("a gauge, says the record", "record", edited(lambda d: d.update(kind="gauge")), ASKED),
    mutation(
        "a trial plate, says the record", "record", edited(lambda d: d.update(kind="trial")), ASKED
    ),
    # -- the list of files
    mutation("pattern lost", "folder", gone("pattern.toml"), MISSING, LEFT_OUT),
    mutation("job lost", "folder", gone("job.toml"), MISSING, LEFT_OUT),
    mutation("layout.svg lost", "folder", gone("layout.svg"), LEFT_OUT),
    mutation(
        "sheet and layouts lost", "folder", gone("sheet.pdf", "layout.svg", "layout.dxf"), LEFT_OUT
    ),
    mutation("page lost", "folder", gone("report.html"), LEFT_OUT),
    mutation("picture not listed", "folder", gone("preview.png", delete=False), LEFT_OUT),
    mutation("a hidden STL", "folder", copied("parts/.body.stl"), UNLISTED),
    mutation(
        "an STL named as a file manager's", "folder", copied("parts/._body-toe.stl"), UNLISTED
    ),
    mutation("one more STL, and listed", "folder", copied("parts/b.stl", listed=True), UNLISTED),
    # -- other products
    mutation(
        "one boot's hole 0.5 mm off",
        "record",
        edited(lambda d: d["boots"][3]["x"].update({"toe-1": d["boots"][3]["x"]["toe-1"] + 0.5})),
        LAYOUT,
        product="boots",
    ),
    mutation(
        "boots 301 to 311 asked for",
        "folder",
        text("job.toml", ("[300.0, 310.0]", "[301.0, 311.0]")),
        ASKED,
        LAYOUT,
        product="boots",
    ),
    mutation(
        "a hole of a trial plate 1 mm on",
        "record",
        edited(lambda d: d["holes"][0].update(x=d["holes"][0]["x"] + 1.0)),
        LAYOUT,
        product="trial",
    ),
    mutation(
        "a trial plate's holes, said to be the plate's own",
        "record",
        inputs(plate_hole=5.5),
        ASKED,
        product="trial",
    ),
    mutation("a trial plate's shift", "record", inputs(shift=4.0), ASKED, product="trial"),
    mutation(
        "a trial plate's pattern lost",
        "folder",
        gone("pattern.toml"),
        MISSING,
        LEFT_OUT,
        product="trial",
    ),
    mutation("a gauge's caliper", "record", inputs(caliper=300.0), ASKED, product="gauge"),
    mutation("a gauge's sheet lost", "folder", gone("sheet.pdf"), LEFT_OUT, product="gauge"),
]
