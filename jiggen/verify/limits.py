"""What a jig's files are held to; mm, degrees and fractions, as each line states."""

from typing import Literal

Source = Literal["STEP", "STL"]

POSITION = {"STEP": 0.01, "STL": 0.02}  # mm, of a hole's centre
DIAMETER = {"STEP": 0.01, "STL": 0.02}  # mm
TILT = 0.1  # degrees, perpendicularity error to the ski
ROUND = 0.02  # mm, of any corner of a bore off its circle
CHORD = 0.0055  # mm that a chord may cut inside a bore's circle: 0.005 and single precision
VOLUME = 0.005  # of the solid's volume
SHAPE = 0.02  # mm between a corner of the STEP and the nearest of the STL
STEP_EDGE = 1e-3  # mm between a STEP edge and its faces, its corners: a kernel's own are 1e-7
STEP_VOLUME = 1e-4  # of the solid's volume, that the STEP's faces enclose
ROUNDING = 1e-3  # mm² of a face's area, and of it per mm of its border: single precision
FACET = 0.02  # mm that a facet may cut into any round face: where two meet, kernels go beyond 0.004
FOLDED = 0.01  # mm² of triangles that may look the wrong way: slivers, in single precision
NARROW = 0.01  # of a round face's area, that its facets may lack: 0.35 rad between them lack 0.5 %
BASE = 0.01  # mm between a printed part's lowest point and z = 0
SAME_MESH = 1e-3  # mm between a corner of the 3MF and the STL's
FIGURE = 1e-4  # mm, of a number in the record: the fits in it are rounded to so much
FACTOR = 1e-9  # of the change that a printer needs, between the record and its figures
STRETCH = (
    0.02  # of a part's size, that a compensation for a printer may change: ABS shrinks by 1.6 %
)
# (`jiggen.tables`), and a sound machine errs by no more than the rest
SHRINK = 0.0125  # likewise to the smaller, for a print too long: no plastic grows, so it is the
# machine's error alone, and the machine is to be repaired (common practice, no source)
OFFSET = 0.6  # mm, of a diameter or a wall, likewise
SPACING = 5.0  # mm between two pieces on a bed: room for a brim, common practice, no source
ON_BED = 0.01  # mm that a piece may lie off its place, past the bed's edge or too near another
CATCH = 5.0  # mm: a hole farther off than this is missing, not moved
DRAWN = 0.001  # mm between a hole and its circle in a drawing: files have six digits
PRINTED = 0.01  # mm, likewise on a sheet of paper: a PDF has four digits of a point, or six
SMALL = 0.05  # mm, likewise in a drawing that is smaller than life, in life's size
PAPER = 0.05  # mm of a page's width and height: points have four digits
UNIT = 1e-6  # of a drawing's unit
OPENING = 0.05  # mm between a meant opening's axis and where it is
PLAN = 0.02  # mm that any face of a body may lie off its plan
SEATED = 0.2  # of a bush's edge, of a head's or nut's face, that rests on something: from memory
KNURL = 0.3  # mm that a knurled head may be wider than a plain one (as the table of screws says)
THREAD_END = 0.3  # mm of a nut without thread, its countersink: from memory
NUT_TURN = 15.0  # degrees that no nut may turn in its trap: common practice, no source
KNOB_TURN, KNOB_HOLD = 8.0, 3.0  # degrees; mm of height: a knob turned so far drives (no source)
KNOB_WAY = (0.0, 2.5, 5.0)  # mm above its place, on a knob's way down
VIEW = 10.0  # degrees off upright that an eye over a sight window may be (no source)
MARK_SEEN, SIGHT_IN = 1.0, 2.5  # mm: half of what is seen of the mark; in from the body's edge
CRUMB = 1e-3  # mm³ of plastic off a plan that do not count
LENGTH = {"STEP": 0.01, "STL": 0.02}  # mm, of what a caliper takes on a finished print
LADDER = 0.02  # mm between a hole and its place with a boot's line on the mark; between shifts
LINE_CATCH = 0.35  # mm: a line farther off than this is missing, not moved
LINE_END = 1.0  # mm over the ski that a line's lower end may be: for an eye that is not above it
LINE_CUT = (1.1, 2.5)  # mm over the ski: heights at which all lines are looked for
LINE_SIGHT = 0.15  # mm behind the face they are cut into: where they are looked for
BESIDE = 0.5  # mm from a line's middle: the plastic beside it
WIDEST_LINE = 1.2  # mm: a wider engraving is not a line
LADDER_END = 3.5  # mm past the last lines of a ladder that are looked at as part of it
TOUCH = 0.01  # mm² of a section that parts may share: faces that touch, in single precision
STOP = 0.05  # mm of ski width about the one at which rails stop on the body
TEETH = 1.0  # pitches of a rack beside the pinion: its next tooth takes over (from memory)
TOOTH_DEPTH = 1.0  # mm behind a rack's tips, where its tooth spaces are looked for
BACKLASH = 0.02  # mm about the wanted backlash: teeth are drawn in chords within so much
EVEN = 0.02  # mm that a tooth may lie off its place, or a section of teeth off that at mid height
CENTRED = 0.03  # mm of ski width, between where a rail touches and the ski, or the other rail does
UPRIGHT = 0.03  # mm that a nose may lean over half its height
ASIDE = 0.5  # mm along the ski from a station to where its noses touch
SLIDE = 0.02  # mm about the wanted clearance of a rail in its channel
SEATED = 0.02  # mm between a station's axis and that of the seat of its pinion
SEAT = (0.02, 0.10)  # mm between pinion and seat as drawn, all round: the lock screw closes it
RUN = 0.2  # mm between parts that pass without guiding one another, at least
SHARED = 0.02  # mm³ that two parts may share: faces that touch, in single precision
PAST_ENGRAVING = 0.7  # mm below a face, from where no engraving reaches
PLAY = 0.8  # mm in and out that a rack is moved in search of its play
TEXT = 0.07  # mm that a corner of an engraved letter may be off: trial plates' are simplified
SPECK_OF_FLOOR = 0.01  # mm² of an engraving's floor that does not count
SLIVER = 1e-3  # mm: narrower ones are single precision
TOGETHER = 1.2  # mm between two engravings that are one: letters of a word
TRIED = 12  # places that an engraving which is not at its own is looked for at, the nearest first
GROOVED = 4.5  # mm beside the groove down a sight window: the wall that it is in
GROOVE_CATCH = 3.0  # mm: a groove farther off than this is missing, not moved
ENGRAVED = {"jig": 0.6, "trial": 0.4, "gauge": 0.6}  # mm deep, three layers or two
MARK_WIDTH = (0.4, 1.0)  # mm, from and to, of a line to lay on a mark
BESIDE_LINE = 1.0  # mm from the line of a rail's scale to the foot of its number
NAMED = 12.0  # mm from a hole or a peg to its name
SCALE_ENDS = 16.0  # mm of trial plate besides a check scale that has room on it
NUMBER_CATCH = 0.6  # mm between a line and the middle of its number
CHUCK = 40.0  # mm, diameter of a chuck: common practice, no source
STOP_WIDTH, CLAMP_PAD = 13.0, 20.0  # mm, diameters of the narrowest depth stop and of a clamp's pad
ROOFED = 3.0  # mm around a clamp's middle that are solid under the mark, and no channel
MARKED = 30.0  # mm² at most that a clamp's mark encloses
JUST_INSIDE = 0.3  # mm from a body's highest face: what is engraved
STANDING = 0.1  # mm from its lowest: what it stands on, well below any relief
SUPPORTED = 12.0  # mm along the ski from a hole to what the jig stands on, at either side
BURR = 1.0  # mm around a hole that a drill may raise: common practice, no source
FAR = 500.0  # mm: beyond any part
EXTRA_DEPTH = 1.5  # mm: a shallower round recess is a mark or a bevel, not a hole
EXTRA = (1.0, 16.0)  # mm, diameters of round openings that could be taken for a hole

# What a part must be to come off a usual printer well without supports; mm, mm², degrees.
# A usual printer lays a molten line: 0.4 mm nozzle, 0.2 mm layers (common practice, no source).
NOZZLE = 0.4
LAYER = 0.2
WALL = 2 * NOZZLE  # a wall of two lines, one down and one back: common practice, no source
STEEP = 45.0  # degrees from upright that a face may lean out: common practice, no source
MARGIN = 1.0  # degrees: facets of a 45° cone are not quite at 45°
LEDGE = 0.75 * NOZZLE  # that a layer may stand out over the one below: common practice, no source
BRIDGE = 15.0  # longest line drawn through the air between two ends: common practice, no source
SPECK = 0.5  # mm² of a ceiling in the air that does not show: a drop as wide as two lines
CONTACT = 50.0  # mm² on the bed, or the print comes loose: from memory
FIRST_LAYER = 0.9  # of the first layer must lie flat on the bed: from memory
MARK = 0.7  # height that a thin wall needs to be one: an engraving, 0.6 mm deep, has none
FACING = 30.0  # degrees off parallel that a wall's two sides may be
WIDEST = 6.0  # walls from here on are not measured

LITTER = 64 * 2**10  # bytes that a file manager leaves beside a file: from memory
FILE = 64 * 2**20  # bytes of one file of a folder: five times the largest that jiggen writes

HELD_TO = {  # what a verification tells of them
    "position_step": POSITION["STEP"],
    "position_stl": POSITION["STL"],
    "diameter_step": DIAMETER["STEP"],
    "diameter_stl": DIAMETER["STL"],
    "tilt_degrees": TILT,
    "volume_fraction": VOLUME,
    "shape": SHAPE,
}
