"""The options of a job, each described once: name, meaning, form, default and limits.

The command line makes its options from this table, the files of a shop's defaults are checked
against it, and a form on a page could be made from it.  Standard library and units only.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from jiggen import units
from jiggen.errors import Finding, InputError

Kind = Literal[
    "text", "flag", "choice", "count", "path",
    "length", "lengths", "range", "boots", "sizes", "bush", "point",
]  # fmt: skip
"""How the words of an option are read; `Option.read` says into what."""

# Groups, in the order of importance for a technician.
JOB = "The job"
SKI = "The ski in hand"
PRINTER = "The printer and the drill bushes"
SHEET = "The sheet"
RESULT = "What comes out"


@dataclass(frozen=True)
class Option:
    """One option of a command, or one argument: a value that has no name before it.

    `name` is also the key of a finding about it; `metavar` shows the form of its value.
    `default` is given as a person would write it; None: there is none.  `form` is an example of
    the form, for kinds that have several numbers.  `positive` lengths are above 0.  A file that
    is written ends in `suffix`.  An option that is a `habit` of a shop can be set in its file of
    defaults.
    """

    name: str
    kind: Kind
    help: str
    metavar: str | None = None
    group: str = JOB
    default: str | None = None
    required: bool = False
    choices: tuple[str, ...] = ()
    counts: tuple[int, ...] = ()
    between: str = ","
    form: str = ""
    positive: bool = False
    suffix: str = ""
    short: str = ""
    repeated: bool = False
    argument: bool = False
    habit: bool = False

    @property
    def flag(self) -> str:
        """The option as it is written on the command line, ``--bush-fit``."""
        return f"--{self.name}"

    def read(self, words: str) -> Any:
        """The value that `words` stand for; lengths in mm.

        length: float; lengths, sizes and range: tuples of float; boots: a float or a range;
        bush: "auto", "none" or (outside, length); point: "middle" or (x, y); path: Path; else: str.

        Raises InputError with the option's name as key.
        """
        try:
            value = _READERS[self.kind](self, words)
        except InputError as error:
            raise InputError(replace(fault, key=self.name) for fault in error.findings) from error
        if self.positive and value <= 0:
            raise self.refusal(
                "cli.limit", f"{value:g} mm is not above 0", "Write a length above 0."
            )
        return value

    def refusal(self, code: str, message: str, hint: str) -> InputError:
        """An error about the value of this option."""
        return InputError(Finding(code, message, key=self.name, hint=hint))


def _read_choice(option: Option, words: str) -> str:
    if words not in option.choices:
        message = f'"{words[:40]}" is not a valid choice'
        raise option.refusal("cli.choice", message, f"Allowed: {', '.join(option.choices)}.")
    return words


def _read_path(option: Option, words: str) -> Path:
    path = Path(words)
    if option.suffix and path.suffix.lower() != option.suffix:
        message = f"{path.name or path} does not end in {option.suffix}"
        hint = f"Name a file that ends in {option.suffix}; a file of that name is replaced."
        raise option.refusal("cli.suffix", message, hint)
    return path


def _read_lengths(option: Option, words: str) -> tuple[float, ...]:
    found = tuple(units.length(word) for word in words.split(option.between))
    if option.counts and len(found) not in option.counts:
        raise option.refusal(
            "cli.lengths", f'"{words[:40]}" cannot be read', f"Write it as {option.form}."
        )
    return found


def _read_boots(_: Option, words: str) -> float | tuple[float, float]:
    return units.length_range(words) if units.is_range(words) else units.length(words)


def _read_bush(option: Option, words: str) -> str | tuple[float, ...]:
    if words in ("auto", "none"):
        return words
    try:
        return units.sizes(words, 2)
    except InputError as error:
        hint = "Write auto, none, or outside x length of the bush in hand: 8x12."
        message = f'"{words[:40]}" is not a valid bush'
        raise option.refusal("units.sizes", message, hint) from error


def _read_point(option: Option, words: str) -> str | tuple[float, ...]:
    if words == "middle":
        return words
    if words.count(",") != 1:
        hint = "Write X,Y as the drawing program shows them, or middle."
        raise option.refusal("import.origin", f'"{words[:40]}" is not a valid point', hint)
    return _read_lengths(option, words)


_READERS: dict[Kind, Callable[[Option, str], Any]] = {
    "text": lambda _, words: words,
    "flag": lambda _, words: words,
    "count": lambda _, words: words,
    "path": _read_path,
    "choice": _read_choice,
    "length": lambda _, words: units.length(words),
    "lengths": _read_lengths,
    "range": lambda _, words: units.length_range(words),
    "boots": _read_boots,
    "sizes": lambda option, words: units.sizes(words, option.counts[0]),
    "bush": _read_bush,
    "point": _read_point,
}

PATTERN = Option(
    "pattern", "text", "A pattern's name, or the path of a pattern file.", "PATTERN",
    argument=True, required=True,
)  # fmt: skip
FOLDER = Option(
    "folder", "path", "A folder that jiggen build made.", "DIR", argument=True, required=True
)
BOOT = Option("boot", "length", "Boot sole length: 305, or 12in.", "MM", required=True)
BOOTS = replace(
    BOOT,
    kind="boots",
    help="Boot sole length: 305, or 12in; a range makes one jig for all of them: 265-345.",
)
SKIS = Option("ski", "range", "Narrowest to widest ski under the jig: 84-112.", "MM", required=True)
SHIFT = Option(
    "shift",
    "length",
    "Move every hole along the ski: 5 towards the tip, -5 towards the tail.",
    "MM",
    default="0",
)
CORE = Option(
    "core",
    "choice",
    "What is under the top sheet; it determines the drill.",
    choices=("plain", "metal"),
    default="plain",
)
SIDE = Option(
    "side",
    "choice",
    "Which ski of the pair; only for patterns whose pair is mirrored.",
    choices=("left", "right"),
    default="left",
)

THICKNESS = Option(
    "thickness",
    "lengths",
    "Ski thickness where it is drilled: 22, or under toe and heel: 23,21.",
    "MM",
    SKI,
)
WIDTH_AT = Option(
    "width-at",
    "lengths",
    "Ski width at a place: 150:96 is 96 mm wide, 150 mm in front of the mark. Up to three times.",
    "X:MM",
    SKI,
    counts=(2,),
    between=":",
    form="place:width, both from the mark: 150:96",
    repeated=True,
)
AREA = Option(
    "area",
    "lengths",
    "Where holes are allowed: from x, to x, and to either side: -210,200,32. "
    "By default the pattern's own, if it has one.",
    "X,X,Y",
    SKI,
    counts=(3,),
    form="from x, to x, to either side: -210,200,32",
)
BASE_LEFT = Option(
    "base-left",
    "length",
    "Least remaining base thickness under the drill's point.",
    "MM",
    SKI,
    default="2",
    habit=True,
)
EDGE = Option(
    "edge",
    "length",
    "Warn of a hole whose wall is nearer to the ski's edge.",
    "MM",
    SKI,
    default="8",
    habit=True,
)

BUSH = Option(
    "bush",
    "bush",
    "auto takes the DIN 179 bush for the drill; none guides the drill in the print; 8x12 is the "
    "bush in hand, outside by length.",
    "BUSH",
    PRINTER,
    default="auto",
    habit=True,
)
BUSH_FIT = Option(
    "bush-fit",
    "length",
    "Added to the bush's outside diameter: printed holes come out small.",
    "MM",
    PRINTER,
    default="0.10",
    habit=True,
)
PRINTER_NAME = Option(
    "printer",
    "text",
    "Compensate for the errors of this printer: a stored profile's name, or the path of one; "
    "none: of no printer.",
    "NAME",
    PRINTER,
    habit=True,
)
BED = Option(
    "bed",
    "sizes",
    "What the printer can print: width, depth, height.",
    "XxYxZ",
    PRINTER,
    default="220x220x250",
    counts=(3,),
    habit=True,
)
MATERIAL = Option(
    "material",
    "text",
    "Plastic it is printed in: PLA, PETG, ABS, ASA, PA or PC; jiggen materials compares.",
    "NAME",
    PRINTER,
    default="PETG",
    habit=True,
)
BODY = Option(
    "body", "length", "Thickness of the jig's body.", "MM", PRINTER, default="14", habit=True
)
SLIDE = Option(
    "slide",
    "length",
    "Clearance per side of the sliding parts.",
    "MM",
    PRINTER,
    default="0.2",
    habit=True,
)
CALIPER = Option(
    "caliper",
    "length",
    "How far your caliper opens: the pegs stand as far apart as it spans.",
    "MM",
    PRINTER,
    default="150",
    habit=True,
)

PAPER = Option(
    "paper",
    "choice",
    "Paper size of the printer.",
    group=SHEET,
    choices=("A4", "letter"),
    default="A4",
    habit=True,
)
UNITS = Option(
    "units",
    "choice",
    "in writes inches beside mm.",
    group=SHEET,
    choices=("mm", "in"),
    default="mm",
    habit=True,
)
TICKET = Option(
    "ticket",
    "text",
    "Free text for the head: customer, order, ski.",
    "TEXT",
    SHEET,
    default="",
)

TERMS = Option("terms", "path", "What you know better than our assumptions, as TOML.", "FILE")
LIMIT = Option(
    "limit",
    "length",
    "Warn of holes that are expected to be farther off.",
    "MM",
    RESULT,
    default="0.5",
    positive=True,
)
OUT = Option("out", "path", "Folder for the files; by default out/<pattern>-<boot>.", "DIR", RESULT)
FORCE = Option("force", "flag", "Replace the folder even if jiggen did not make it.", "", RESULT)
SVG = Option("svg", "path", "Draw at 1:1 as SVG.", "FILE", RESULT, suffix=".svg")
DXF = Option("dxf", "path", "Draw at 1:1 as DXF, in mm.", "FILE", RESULT, suffix=".dxf")
JSON = Option("json", "flag", "Write JSON to standard output, errors too.", "", RESULT)

# What a build is made from, in the order in which it is asked for.
BUILD = (
    PATTERN, BOOTS, SKIS, SHIFT, CORE, SIDE, THICKNESS, WIDTH_AT, AREA, BASE_LEFT, EDGE, BUSH,
    BUSH_FIT, PRINTER_NAME, BED, MATERIAL, BODY, SLIDE, OUT, FORCE, JSON,
)  # fmt: skip
HABITS = (
    *(option for option in BUILD if option.habit), CALIPER, PAPER, UNITS,
)  # fmt: skip
"""The options that a shop's file of defaults may set."""
