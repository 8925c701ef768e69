"""What a technician says of a plate beside its readings: one row for a page and a command."""

from functools import partial

from jiggen.options import Option

DRILL, PLATE, READINGS = "The holes to be drilled", "How the plate lies on the ski", "The readings"
_plate = partial(Option, kind="text", group=PLATE, metavar="HOLES")
_drill = partial(Option, kind="text", group=DRILL, metavar="MM")

NAME = Option("name", "text", "What the plate is called.", group="", required=True)
UNITS = Option(
    "units", "choice", "What the tool shows.", group="", choices=("mm", "in"), default="mm"
)
ORIGIN = Option(
    "origin",
    "text",
    "Where x is 0: a hole a, or the middle of several: c,d; an edge front that was measured from.",
    group="",
    required=True,
    metavar="HOLES",
)
FRONT = _plate("front", help="The holes nearest the tip: a,b.")
PAIRS = _plate("pairs", help="Left and right, the left hole first: a-b c-d.")
CENTRE_LINE = _plate("centre-line", help="Holes on the centre line: e.")
REAR = _plate("rear", help="The holes nearest the tail: g,h.")
LEFT = _plate("left", help="Holes left of the centre line: a,c.")
RIGHT = _plate("right", help="Holes right of the centre line: b,d.")
MIDDLE = _plate(
    "middle",
    help="Without pairs: holes around the centre line, or left,right for both edges.",
)
ALONG = _plate(
    "along",
    help="Without pairs: two holes in a line along the ski, the rear one first: c,a.",
)
DATUM = Option(
    "datum",
    "choice",
    "Where on the boot the plate's origin counts from.",
    group=PLATE,
    choices=("boot-centre", "boot-toe", "boot-heel"),
)
SHIFT = Option(
    "shift",
    "text",
    "From there to the plate's origin, + towards the tip.",
    group=PLATE,
    metavar="MM",
)
GROUP = Option("group", "text", "A word: the holes' ids are made of it.", group=PLATE)
PLAIN = _drill(
    "drill-plain", help="Drill diameter for plain cores: the screw's, not the plate holes'."
)
METAL = _drill("drill-metal", help="Drill diameter under metal.")
DEPTH = _drill("drill-depth", help="Depth of the holes without the drill's point.")
UNUSUAL = Option(
    "unusual", "flag", "Drills over 4.5 mm and holes less than 5 mm deep are meant.", group=DRILL
)
BOOT = _drill("boot", help="Boot sole lengths served: 255 355.")
PAIR = Option(
    "pair",
    "choice",
    "The other ski has the same holes, or mirrored ones.",
    group=DRILL,
    choices=("same", "mirrored"),
    default="same",
)
NOTE = Option("note", "text", "Any words.", group=READINGS, metavar="TEXT")
SIGMA = Option(
    "sigma",
    "text",
    "Standard uncertainty (1 σ) of a reading: caliper 0.05, ruler 0.3.",
    group=READINGS,
    metavar="MM",
)
