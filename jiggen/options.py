"""The options of a job, each described once: for the command line and a shop's defaults."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, Literal

from jiggen import units
from jiggen.errors import InputError

Kind = Literal[
    "text", "flag", "choice", "count", "path",
    "length", "lengths", "range", "boots", "sizes", "bush", "point", "sidewall", "mark",
]  # fmt: skip
"""How the words of an option are read; `Option.read` says into what."""

_FORMS: dict[Kind, str] = {
    "text": "NAME",
    "flag": "",
    "count": "N",
    "path": "FILE",
    "sizes": "XxYxZ",
    "bush": "BUSH",
    "point": "X/Y",
    "sidewall": "SIDE",
    "mark": "tail:MM|chord:MM",
}

# Groups, in the order of importance for a technician.
JOB = "The job"
SKI = "The ski in hand"
PRINTER = "The printer and the drill bushes"
SHEET = "The sheet"
RESULT = "What comes out"


@dataclass(frozen=True)
class Option:
    """One option of a command, or one argument: a value that has no name before it.

    `name` is also the key of a finding about it; `metavar` the form of its value in help, where
    its kind has another; `default` is as a person would write it, None for none; `form` an
    example for several numbers.  `positive` lengths are above 0.  A file that is written ends in
    `suffix`.  A `habit` can be set in a shop's file of defaults.
    """

    name: str
    kind: Kind
    help: str
    group: str = JOB
    metavar: str | None = None
    default: str | None = None
    required: bool = False
    choices: tuple[str, ...] = ()
    counts: tuple[int, ...] = ()
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

    @property
    def shown_form(self) -> str:
        """What stands for the value in help."""
        if self.metavar is not None:
            return self.metavar
        return "|".join(self.choices) if self.choices else _FORMS.get(self.kind, "MM")

    def read(self, words: str) -> Any:
        """The value that `words` stand for; lengths in mm.

        length: float; lengths, sizes and range: tuples of float; boots: a float or a range;
        bush: "auto", "none" or (outside, length); point: "middle" or (x, y); path: Path;
        sidewall: "upright", "rounded" or degrees; mark: ("tail" or "chord", length); else: str.

        Raises InputError with the option's name as key.
        """
        try:
            reader = _READERS.get(self.kind)
            value: Any = reader(self, words) if reader else words
            if self.positive and value <= 0:
                message = f"{value:g} mm is not above 0"
                raise InputError.of("cli.limit", message, hint="Write a length above 0.")
        except InputError as error:
            raise InputError(replace(fault, key=self.name) for fault in error.findings) from error
        return value


def _read_choice(option: Option, words: str) -> str:
    """One of the choices, in whatever letters it is written: a4 is A4."""
    from jiggen.inputs.faults import did_you_mean

    given = words.strip().casefold()
    for choice in option.choices:
        if choice.casefold() == given:
            return choice
    allowed = f"Allowed: {', '.join(option.choices)}."
    raise _refusal("cli.choice", words, option.name, did_you_mean(words, option.choices) + allowed)


def _read_count(option: Option, words: str) -> int:
    least, most = option.counts[0], option.counts[-1]
    try:
        if least <= int(words) <= most:
            return int(words)
    except ValueError:
        pass
    hint = f"Write a whole number from {least} to {most}."
    raise _refusal("cli.count", words, option.name, hint)


def _read_path(option: Option, words: str) -> Path:
    path = Path(words)
    if option.suffix and path.suffix.lower() != option.suffix:
        message = f"{path.name or path} does not end in {option.suffix}"
        hint = f"Name a file that ends in {option.suffix}; a file of that name is replaced."
        raise InputError.of("cli.suffix", message, hint=hint)
    return path


def _read_lengths(option: Option, words: str) -> tuple[float, ...]:
    return units.lengths(words, *option.counts, example=option.form)


def _read_bush(_: Option, words: str) -> str | tuple[float, ...]:
    try:
        return words if words in ("auto", "none") else units.sizes(words, 2)
    except InputError as error:
        hint = "Write auto, none, or outside x length of the bush in hand: 8x12."
        raise _refusal("units.sizes", words, "bush", hint) from error


def _read_sidewall(_: Option, words: str) -> str | float:
    if words in ("upright", "rounded"):
        return words
    try:
        return units.degrees(words)
    except InputError as error:
        hint = "Write upright, rounded, or how many degrees it leans off upright: 20."
        raise _refusal("cli.choice", words, "side", hint) from error


def _read_mark(_: Option, words: str) -> tuple[str, float]:
    way, length = (word.strip().lower() for word in words.partition(":")[::2])
    if way not in ("tail", "chord"):
        hint = (
            "Write how far the mark is in front of the tail's end, tail:812; or how long the ski "
            "is in a straight line, chord:1724, where the mark is at half of it."
        )
        raise _refusal("cli.mark", words, "place of a mark", hint)
    return way, units.length(length)


def _read_point(_: Option, words: str) -> str | tuple[float, ...]:
    if words == "middle":
        return words
    try:
        return units.lengths(words, 2)
    except InputError as error:
        hint = "Write X/Y as the drawing program shows them, or middle."
        raise _refusal("import.origin", words, "point", hint) from error


def _refusal(code: str, words: str, what: str, hint: str) -> InputError:
    return InputError.of(code, f'"{words[:40]}" is not a valid {what}', hint=hint)


_READERS: dict[Kind, Callable[[Option, str], Any]] = {
    "path": _read_path,
    "count": _read_count,
    "choice": _read_choice,
    "length": lambda _, words: units.length(words),
    "lengths": _read_lengths,
    "range": lambda _, words: units.length_range(words),
    "boots": lambda _, words: (
        units.length_range(words) if units.is_range(words) else units.length(words)
    ),
    "sizes": lambda option, words: units.sizes(words, option.counts[0]),
    "bush": _read_bush,
    "sidewall": _read_sidewall,
    "point": _read_point,
    "mark": _read_mark,
}

argument = partial(Option, argument=True, required=True)
_ski = partial(Option, group=SKI)
_printer = partial(Option, group=PRINTER, habit=True)
_sheet = partial(Option, group=SHEET)
result = partial(Option, group=RESULT)

PATTERN = argument(
    "pattern", "text", "A pattern's name, or the path of a pattern file.", metavar="PATTERN"
)
FOLDER = argument("folder", "path", "A folder that jiggen build made.", metavar="DIR")
BOOT = Option(
    "boot",
    "length",
    "Boot sole length, moulded on the shell near the heel: 305, or 12in.",
    required=True,
)
BOOTS = replace(
    BOOT,
    kind="boots",
    help="Boot sole length, moulded on the shell near the heel: 305, or 12in; a range makes one "
    "jig for all of them: 265-345.",
)
SKIS = Option(
    "ski",
    "range",
    "Narrowest to widest ski under the jig, 84-112, measured where the rails' noses touch: "
    "the rails' depth, 9 mm, below the top sheet.",
    required=True,
)
SIDEWALL = Option(
    "sidewall",
    "sidewall",
    "The ski's side: upright, rounded, or how many degrees it leans off upright, wider at the "
    "base: 20.",
    default="upright",
    habit=True,
)
RAIL_DEPTH = Option(
    "rail-depth",
    "length",
    "How far below the top sheet the rails' noses touch the side: 5 to 20.",
    default="9",
    habit=True,
)
SHIFT = Option(
    "shift", "length", "Move all holes along the ski: 5 to the tip, -5 to the tail.", default="0"
)
CORE = Option(
    "core", "choice", "What lies under the top sheet.", choices=("plain", "metal"), default="plain"
)
SIDE = Option(
    "side", "choice", "Which ski of a mirrored pair.", choices=("left", "right"), default="left"
)

THICKNESS = _ski(
    "thickness",
    "lengths",
    "Ski thickness where it is drilled: 22, or under toe and heel: 23/21.",
    counts=(1, 2),
    form="23/21",
)
WIDTH_AT = _ski(
    "width-at",
    "lengths",
    "Ski width at a place, across the top sheet: 150:96 is 96 mm wide, 150 mm in front of the "
    "mark. Up to three times.",
    counts=(2,),
    form="place:width, 150:96",
    repeated=True,
    metavar="X:MM",
)
MARK = _ski(
    "mark",
    "mark",
    "A ski with no mark, or with several: how far it is in front of the tail's end, tail:812, or "
    "at half the chord, chord:1724; both in a straight line.",
)
AREA = _ski(
    "area",
    "lengths",
    "Where holes are allowed: from x, to x, and to either side: -210/200/32. "
    "By default the pattern's own, if it has one.",
    counts=(3,),
    form="from x, to x, to either side, -210/200/32",
    metavar="X/X/Y",
)
BASE_LEFT = _ski(
    "base-left", "length", "Least base left under the drill's point.", default="2", habit=True
)
EDGE = _ski(
    "edge", "length", "Warn of a hole whose wall is nearer to an edge.", default="8", habit=True
)

BUSH = _printer(
    "bush",
    "bush",
    "auto takes the DIN 179 bush for the drill; none guides the drill in the print; 8x12 is the "
    "bush in hand, outside by length.",
    default="auto",
)
BUSH_FIT = _printer(
    "bush-fit", "length", "Added to the bush's diameter: printed holes are small.", default="0.10"
)
PRINTER_NAME = _printer(
    "printer",
    "text",
    "Compensate for the errors of this printer: a stored profile's name, or the path of one; "
    "none for no compensation.",
)
BED = _printer(
    "bed", "sizes", "Width, depth, height it can print.", default="220x220x250", counts=(3,)
)
BED_RIM = _printer(
    "bed-rim",
    "length",
    "Kept free along the bed's rim, for a brim and what the printer purges; a part too long for "
    "that gets what is left.",
    default="8",
)
MATERIAL = _printer(
    "material", "text", "PLA, PETG, ABS, ASA, PA or PC: see jiggen materials.", default="PETG"
)
BODY = _printer("body", "length", "Thickness of the jig's body.", default="14")
SLIDE = _printer("slide", "length", "Clearance per side of the sliding parts.", default="0.2")
CALIPER = _printer(
    "caliper", "length", "How far your caliper opens: so far apart are the pegs.", default="150"
)

PAPER = _sheet("paper", "choice", "Paper size.", choices=("A4", "letter"), default="A4", habit=True)
UNITS = _sheet(
    "units", "choice", "in writes inches beside mm.", choices=("mm", "in"), default="mm", habit=True
)
TICKET = _sheet(
    "ticket", "text", "Free text for the head: customer, order, ski.", default="", metavar="TEXT"
)

PLATE_HOLE = Option(
    "plate-hole",
    "length",
    "How wide the plate's own holes are, 5.5: draws them at 1:1 too, around the drill's.",
    group=SHEET,
)

TERMS = Option("terms", "path", "What you know better than our assumptions, as TOML.")
LIMIT = result(
    "limit", "length", "Warn of holes expected to be farther off.", default="0.5", positive=True
)
OUT = result(
    "out",
    "path",
    "Folder for the files; by default out/<pattern>-<boot>-on-<skis>, with what is unusual.",
    metavar="DIR",
)
COPY = result(
    "copy",
    "count",
    "Which print of the same this is: each one has a jig mark of its own engraved.",
    default="1",
    counts=(1, 999),
)
FORCE = result(
    "force", "flag", "Replace the folder even if it holds another jig, or jiggen did not make it."
)
HOLES = result("holes", "flag", "List every hole: where it is wanted, and where it was found.")
SVG = result("svg", "path", "Draw at 1:1 as SVG.", suffix=".svg")
PDF = result("pdf", "path", "Draw at 1:1 over the pages of a PDF, to print.", suffix=".pdf")
DXF = result("dxf", "path", "Draw at 1:1 as DXF, in mm.", suffix=".dxf")
JSON = result("json", "flag", "Write JSON to standard output, errors too.")
BUSH_LIMIT = result(
    "bush-limit",
    "count",
    "Warn of drill bushes that guided more holes than that.",
    default="1000",  # common practice, no source
    counts=(1, 1_000_000),
    habit=True,
)

HABITS = (
    SIDEWALL, RAIL_DEPTH, BASE_LEFT, EDGE, BUSH, BUSH_FIT, PRINTER_NAME, BED, BED_RIM, MATERIAL,
    BODY, SLIDE, CALIPER, PAPER, UNITS, BUSH_LIMIT,
)  # fmt: skip
"""The options that a shop's file of defaults may set."""
