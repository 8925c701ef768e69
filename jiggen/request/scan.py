"""Scans that are measured: which pictures, by which distances, and what is made of a plate's."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from jiggen import options as table
from jiggen.errors import Finding, InputError
from jiggen.options import Option, argument
from jiggen.request import placing
from jiggen.request.reading import Form, Reading, rows_of
from jiggen.request.survey import ACCEPT, LIMIT, OUT, SurveyRequest

if TYPE_CHECKING:
    from jiggen.files import Toml
    from jiggen.measure.scan.adjust import Face, Fitted
    from jiggen.measure.scan.files import Picture
    from jiggen.measure.scan.network import Distance
    from jiggen.request.survey import Judged

SCANS = "The scans"
_scan = partial(Option, group=SCANS)
IMAGES = argument(
    "images",
    "path",
    "Scans of one thing at 300 to 1200 dpi, PNG, TIFF or JPEG: best four, turned by a quarter "
    "each, or several that overlap.",
    metavar="IMAGE…",
    repeated=True,
)
IMAGES_OPTION = replace(
    IMAGES, name="scan", argument=False, required=False, group=SCANS, metavar="IMAGE"
)
DISTANCES = _scan(
    "distance",
    "text",
    "A caliper distance between two holes of it, which gives the scale; best two long ones.",
    metavar="a-b:outside=MM",
    repeated=True,
)
CALIPER = _scan(
    "caliper-sigma",
    "length",
    "Standard uncertainty (1 σ) of one such distance.",
    default="0.03",
    positive=True,
)
TURNED = _scan(
    "turned",
    "text",
    "By how many degrees it was turned in each scan, where it looks alike: 0,90,180,270.",
    metavar="DEGREES",
)
LEAVE_OUT = _scan("leave-out", "text", "Holes that are not used: c,f.", metavar="HOLES")
RENAME = _scan(
    "rename",
    "text",
    "What to call a hole: c=toe_left. Without, they are a, b, … from the left of the first scan.",
    metavar="c=NAME",
    repeated=True,
)
SCANS_SVG = replace(table.SVG, help="Draw the scans with what was found, to be checked, as SVG.")
SCANS_PNG = replace(table.SVG, name="png", help="The same picture as PNG.", suffix=".png", short="")
_PARTS = re.compile(r"[\s;,]+")


@dataclass(frozen=True)
class ScanReading:
    """The options that say how scans are read; lengths in mm."""

    distances: Annotated[list[str] | None, DISTANCES]
    caliper: Annotated[float, CALIPER]
    turned: Annotated[str | None, TURNED]
    leave_out: Annotated[str | None, LEAVE_OUT]
    rename: Annotated[list[str] | None, RENAME]

    def checked(
        self, images: Sequence[Path], names: Sequence[str] = ()
    ) -> tuple[list[Distance], list[float] | None]:
        """The distances, and the turns in degrees; `names` are those of all holes, where known.

        Raises InputError with every fault of the words before any picture is read.
        """
        from jiggen.measure.scan.adjust import parse_distance

        reading = Reading()
        known: list[Distance] = []
        for words in self.distances or ():
            read = partial(parse_distance, words, self.caliper, names)
            one = reading.read(read, None, DISTANCES.name)
            known += [one] if one else []
        turns = reading.read(self._turns, None, TURNED.name)
        if turns is not None and len(turns) != len(images):
            message = f"{len(turns)} turns for {len(images)} scans"
            hint = "Write one for each scan, in the same order: 0,90,180,270."
            reading.faults.append(Finding("scan.turned", message, key=TURNED.name, hint=hint))
        nothing: dict[str, str] = {}
        reading.read(self._renamed, nothing, RENAME.name)
        reading.end()
        return known, turns

    def look_at(self, images: Sequence[Path]) -> list[Picture]:
        """What the pictures show; raises InputError for what is not a scan."""
        from jiggen.measure.scan.files import look_at_all

        self.checked(images)
        return look_at_all(images)

    def fit(self, pictures: Sequence[Picture]) -> Fitted:
        """The holes by all of them together; raises InputError where that is impossible."""
        from jiggen.measure.scan.files import fit_pictures, refuse_twice

        refuse_twice(pictures)
        distances, turns = self.checked([Path(one.source) for one in pictures])
        return fit_pictures(pictures, distances, turns, self.left_out, self._renamed())

    @property
    def left_out(self) -> list[str]:
        """The holes that are not used."""
        return [name for name in _PARTS.split(self.leave_out or "") if name]

    def _turns(self) -> list[float] | None:
        from jiggen.units import degrees

        return [degrees(one) for one in _PARTS.split(self.turned)] if self.turned else None

    def _renamed(self) -> dict[str, str]:
        pairs = [one.partition("=") for one in self.rename or ()]
        if bad := [old for old, given, _ in pairs if not given]:
            message = f"{bad[0][:40]!r} names no hole anew"
            raise InputError.of("scan.name", message, hint="Write c=toe_left.")
        return {old.strip(): new.strip() for old, _, new in pairs}


FACE = _scan(
    "face",
    "choice",
    "The face of the plate that lay on the glass: top, or under, the one to the ski.",
    choices=("top", "under"),
)
SURVEY_FILE = replace(
    OUT, name="survey", help="The survey file to write, .toml: what is open in it you fill in.",
    short="",
)  # fmt: skip
PATTERN_FILE = replace(OUT, help="The pattern file to write, .toml.")
USUAL_GROUP, USUAL_DATUM, USUAL_SHIFT = "plate", "boot-centre", "0"
NAME, ORIGIN = (
    replace(row, group=placing.PLATE, required=False) for row in (placing.NAME, placing.ORIGIN)
)
DATUM = replace(placing.DATUM, default=USUAL_DATUM)
SHIFT = replace(placing.SHIFT, default=USUAL_SHIFT)
GROUP = replace(placing.GROUP, default=USUAL_GROUP)


@dataclass(frozen=True)
class Plate:
    """The options that say how a scanned plate lies on the ski, and which holes are drilled."""

    name: Annotated[str | None, NAME]
    face: Annotated[Literal["top", "under"] | None, FACE]
    origin: Annotated[str | None, ORIGIN]
    front: Annotated[str | None, placing.FRONT]
    pairs: Annotated[str | None, placing.PAIRS]
    centre_line: Annotated[str | None, placing.CENTRE_LINE]
    middle: Annotated[str | None, placing.MIDDLE]
    along: Annotated[str | None, placing.ALONG]
    datum: Annotated[str, DATUM]
    shift: Annotated[str, SHIFT]
    group: Annotated[str, GROUP]
    drill_plain: Annotated[str | None, placing.PLAIN]
    drill_metal: Annotated[str | None, placing.METAL]
    drill_depth: Annotated[str | None, placing.DEPTH]

    def check(self) -> Face:
        """The face that lay on the glass.  Raises InputError ``scan.face`` where it is not said."""
        if self.face is None:
            message = "nothing says which face of the plate lay on the glass"
            hint = "top, or under: from underneath a scan sees the plate mirrored."
            raise InputError.of("scan.face", message, key=FACE.name, hint=hint)
        return self.face

    def data(self, fitted: Fitted) -> Toml:
        """The survey of what was scanned; what was not said is ``""``, as in a form."""
        from jiggen.request.plate import PLACES, Entry, put

        face = self.check()
        given = {row.name: value for row, value in zip(_ROWS, vars(self).values(), strict=True)}
        words = {name: [value] for name, value in given.items() if value and name != FACE.name}
        for number, name in enumerate(fitted.seen.names):
            words |= {
                f"hole.{number}": [name],
                f"diameter.{number}": [f"{fitted.diameters[number]:.2f}"],
            }
        data = Entry(words).data()
        for row in _OPEN:
            if row.name not in words:
                put(data, PLACES[row], "")
        return data | {"scanned": _scanned(fitted, face)}


_ROWS = rows_of(Plate)
_OPEN = (placing.FRONT, placing.PAIRS, placing.PLAIN, placing.METAL, placing.DEPTH)
_DIGITS = 5  # decimals of a mm, and significant ones of a variance


def _scanned(fitted: Fitted, face: Face) -> Toml:
    """The table of a survey that says what the scans tell, as seen from above."""
    places, covariance = fitted.from_above(face)
    return {
        "scans": list(fitted.seen.sources),
        "distances": [f"{one} = {one.value:.2f}" for one in fitted.network.distances],
        "places": {
            name: [round(x, _DIGITS) + 0.0, round(y, _DIGITS) + 0.0]
            for name, (x, y) in zip(fitted.seen.names, places.tolist(), strict=True)
        },
        "covariance": [
            [float(f"{value:.{_DIGITS}g}") for value in row[: number + 1]]
            for number, row in enumerate(covariance.tolist())
        ],
    }


@dataclass(frozen=True)
class JudgedScan:
    """Scans measured; `against` is why their places must not be used, `warnings` the rest."""

    fitted: Fitted
    against: tuple[Finding, ...]
    warnings: tuple[Finding, ...]


@dataclass(frozen=True)
class ScanRequest:
    """The options that say which scans are measured, and what is made of them; lengths in mm."""

    images: Annotated[list[Path], IMAGES]
    reading: ScanReading
    plate: Plate
    limit: Annotated[float, LIMIT]
    survey: Annotated[Path | None, SURVEY_FILE]
    out: Annotated[Path | None, PATTERN_FILE]
    accept: Annotated[bool, ACCEPT]

    def judge(self, pictures: Sequence[Picture]) -> JudgedScan:
        """What the pictures say together.  Raises InputError where that is nothing."""
        return judge_scans(self.reading.fit(pictures))

    def survey_text(self, judged: JudgedScan) -> str:
        """The survey file, with ``""`` for what is still to be filled in.  Raises InputError.

        What speaks against the scans is noted in it.
        """
        from jiggen.request.plate import survey_toml

        data = self.plate.data(judged.fitted)
        if judged.against:
            messages = "; ".join(one.message for one in judged.against)
            data["note"] = f"Accepted by hand: {messages}."
        return f"{_HEAD}\n\n{survey_toml(data)}"

    def solve(self, text: str) -> Judged:
        """What the survey `text` says of the plate.  Raises InputError for what it lacks."""
        from jiggen.inputs.document import parse_document
        from jiggen.measure.survey.read import KIND, survey_of

        name = str(self.survey or "the survey of these scans")
        asked = SurveyRequest(self.survey, self.limit, None, self.out, self.accept)
        return asked.judge(survey_of(parse_document(text, name, KIND)))


SCAN = Form("scan", ScanRequest)
SCANS_FOLDER = Path("scans")
"""Where a page keeps pictures."""


def draw_scans(
    fitted: Fitted, pictures: Sequence[Picture], svg: Path | None, png: Path | None
) -> None:
    """Write the scans with what was found in them, to be checked by a person."""
    from jiggen.files import write_whole
    from jiggen.measure.scan.picture import scan_drawing

    if not svg and not png:
        return
    drawing = scan_drawing(fitted, pictures)
    if svg:
        from jiggen.draw.vector import svg_text

        write_whole(svg, svg_text(drawing, _DIGITS), SCANS_SVG.flag)
    if png:
        from jiggen.draw.raster import png_bytes

        write_whole(png, png_bytes(drawing), SCANS_PNG.flag)


_HEAD = (
    '# Written by jiggen scan.  Fill in what is still "", then: jiggen survey FILE.\n'
    "# Distances to the plate's edges may be added under [distances]; leave [scanned] as it is."
)


def judge_scans(fitted: Fitted) -> JudgedScan:
    """What speaks against the fit, and what is not known."""
    from jiggen.measure.scan.findings import notes, refusals

    return JudgedScan(fitted, refusals(fitted), notes(fitted))
