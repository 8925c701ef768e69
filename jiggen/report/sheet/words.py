"""Every word on the sheet but the cautions, in one place: translate here, and only here.

The cautions are :data:`jiggen.cautions.CAUTIONS`; names of parts and of what is bought come
from the manifest.  A value in braces is filled in by the sheet and must stay.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

WORDS: Mapping[str, str] = MappingProxyType(
    {
        # the file, and the foot of every page
        "title": "Drilling sheet: {pattern}, boot {boot} mm",
        "foot.maker": "jiggen {version}",
        "foot.job": "{pattern}, boot {boot}",
        "foot.page": "page {page} of {pages}",
        # the head of the first page
        "head.kind": "Drilling sheet",
        "head.boot": "Boot sole",
        "head.shift": "Mount shift",
        "head.core": "Core",
        "head.skis": "Skis",
        "head.widths": "Ski widths",
        "head.date": "Date",
        "head.by": "Drilled by",
        "head.ticket": "Ticket",
        "head.verification": "Jig verified from its files: {checks} checks; each of the {holes} "
        "holes is within {deviation} mm of its place.",
        "head.verification-boots": "Jig verified from its files: {checks} checks; each of the "
        "{holes} holes is within {deviation} mm of its place, with the line of each of "
        "{boots} boot lengths on the mark.",
        "boots.range": "{least} to {most}",
        "shift.none": "none",
        "shift.tip": "{length} to the tip",
        "shift.tail": "{length} to the tail",
        "core.plain": "plain",
        "core.metal": "metal sheet under the top",
        "skis.same": "left and right alike",
        "skis.left": "LEFT ski only",
        "skis.right": "RIGHT ski only",
        # drill and stop
        "stop.heading": "Drill and stop",
        "stop.drill": "Drill",
        "stop.depth": "Depth D",
        "stop.corners": "Stop A, to the corners",
        "stop.tip": "Stop B, to the tip",
        "stop.guide-top": "Top of the guide above the ski: G = {length}",
        "stop.base": "Base left under the point: {length}. {guide}",
        "stop.run": "{first} to {last}",
        "stop.more": "… and more: see the list of holes",
        "stop.every": "every hole",
        "stop.legend.g": "top of the guide above the ski. The guide is the drill bush; in a jig "
        "without bushes it is the printed hole.",
        "stop.legend.d": "depth below the top sheet, at the drill's full diameter.",
        "stop.legend.a": "from the stop to the drill's cutting corners: A = G + D.",
        "stop.legend.b": "from the stop to the very tip: B = A + the point ({angle}° drill).",
        "stop.legend.use": "Set the stop by A or by B, whichever your caliper reaches. Another "
        "point angle changes B, never A.",
        "stop.picture.stop": "stop",
        "stop.picture.jig": "jig",
        "stop.picture.ski": "ski",
        "notice.heading": "Mind before you drill",
        "notice.line": "{holes}: {message}. {hint}",
        # the layout drawing
        "drawing.heading": "Layout",
        "drawing.note": "Smaller than life; {unit}, measured from the mounting mark and the centre "
        "line. Dashed: a ski {width} wide.",
        "drawing.note-table": "Smaller than life. Not everything found room here: see the list of "
        "holes.",
        "drawing.boot": "Drawn for a boot of {boot}.",
        "drawing.mark": "mounting mark",
        "drawing.tip": "to the tip",
        "drawing.tail": "to the tail",
        "drawing.left": "left side of the ski",
        "unit.mm": "mm",
        "unit.in": "mm (inches)",
        # lists
        "tools.heading": "Tools",
        "tools.drill": "twist drill {diameter} with stop",
        "tools.screws": "{count} × screw {length} for the plate",
        "tools.key": "hexagon key {size} mm",
        "tools.caliper": "caliper, and a steel rule",
        "tools.clamps": "vice for the ski, clamps for the jig",
        "tools.scrap": "scrap board for the first hole",
        "tools.brush": "brush for the chips",
        "tools.pen": "fine pen, adhesive tape",
        "tools.glasses": "eye protection",
        "buy.heading": "Bought for the jig",
        "buy.line": "{count} × {name}, {size}",
        "buy.standard": "{line} ({standard})",
        "print.heading": "Printed",
        "print.line": "{count} × {name} (print bed {bed})",
        # printing the parts
        "plastic.heading": "Printing in {name}",
        "plastic.part": "part",
        "plastic.pieces": "pieces",
        "plastic.volume": "volume of each",
        "plastic.solid": "solid",
        "plastic.printed": "as advised",
        "plastic.how": "print it",
        "plastic.how.solid": "solid: 100 %",
        "plastic.how.hollow": "{walls} walls, {infill} % within",
        "plastic.all": "all pieces",
        "plastic.cm3": "{volume} cm³",
        "plastic.gram": "{mass} g",
        "plastic.note": "Masses by {density} g/cm³. As advised: {walls} walls ({thick} mm), {skin} "
        "mm of full layers under and over, and the infill within, reckoned from each part's faces; "
        "a slicer says rather less.",
        "plastic.advice": "– {words}",
        "print.printer": "made for printer {printer} alone: as the files lie, not turned on its "
        "bed, at 100 %",
        # steps
        "steps.heading": "Steps",
        "steps.scale": "Check the printed scale: both 100 mm bars on each 1:1 page with a rule, "
        "and the engraved 100.0 scale on each body with the caliper.",
        "steps.assemble": "Assemble the jig from what is listed above. The two rails of a station "
        "must stand out equally far.",
        "steps.over-jig": "Lay the 1:1 holes over the finished jig, mark on mark: every hole lies "
        "in the middle of its guide.",
        "steps.over-plate": "Dry fit: lay the 1:1 holes over the plate or binding: every hole "
        "lies in the middle of the plate's own.",
        "steps.ticket": "Compare boot sole, mount shift, core and ski with the ticket.",
        "steps.ski": "Fix the ski. Find its mounting mark, and mark it so that it can be seen "
        "through the jig's windows.",
        "steps.centre": "Lay the jig on the ski, arrow to the tip. Turn the knobs until all four "
        "rails touch.",
        "steps.mark": "Slide it until its line lies on the mounting mark in both windows, seen "
        "straight down. Tighten both lock screws. Look again.",
        "steps.readings": "Read the scales of all four rails at the body's side edge: left and "
        "right must agree, see below.",
        "steps.clamp": "Clamp the jig down at the diamonds.",
        "steps.stop": "Set the stop by A or B above. Drill the scrap board through the jig, and "
        "measure the depth.",
        "steps.drill": "Drill every hole square, stop down on the guide. Clear the chips often. "
        "Tick it in the list of holes. Where the setting changes, set the stop anew.",
        "steps.fit": "Take the jig off, brush the holes clean, and lay the plate on without "
        "force: every hole must meet.",
        "steps.screws": "Tap, glue and tighten the screws as the maker's instructions say.",
        "steps.test": "Release set, and function test by a trained technician.",
        # a jig for many boots: its halves, and how they are set
        "set.heading": "Set each half by the boot",
        "set.one": "The halves ({halves}) are used by themselves, one after the other.",
        "set.lengths": "Boot lengths",
        "set.line": "Lay the line of your boot length on the ski's mark: then the half sits right. "
        "Odd lengths are at the left edge of its tongue, even ones at the right; from one line to "
        "the next on an edge it is 2 mm of boot.",
        "set.band": "{half} half: boots of one band share one place of the holes ({bands}). Lay "
        "the line of the band that your boot is in on the ski's mark.",
        "set.still": "The piece for {groups} has one line: it serves every boot.",
        "set.table": "In the table, + and − count lines on from the number, + towards longer "
        "boots. Beside it, how far the half's first hole is from the mark: check it with a rule.",
        "set.caution": "A half on the wrong line drills all its holes in the wrong place, by half "
        "of what the lengths differ, or by a whole band. Read the line twice, and measure.",
        "set.boot": "boot",
        "set.half": "{half} half",
        "set.first": "{hole} at",
        "steps.over-half": "Lay the 1:1 holes over each half, mark on the line of the boot they "
        "are drawn for: every hole lies in the middle of its guide.",
        "steps.shift": "For a mount shift, lay the 0 in a half's slot on the ski's mark, draw a "
        "new mark through the slot at the shift, on the TIP or the TAIL side, and tape over the "
        "old one. Measure the shift with a rule. From here on the new mark is the ski's mark, for "
        "every half.",
        "steps.see": "Fix the ski. Find its mounting mark, and mark it so that it can be seen on "
        "either side of a half's tongue.",
        "steps.half": "Take one half. Lay it on the ski, arrow to the tip, its tongue over the "
        "mark. Turn both knobs until all four rails touch.",
        "steps.set": "Slide it until the line of your boot length lies on the mark, seen straight "
        "down at the tongue's edge. Tighten both lock screws. Look again, and measure to the "
        "half's first hole.",
        "steps.other": "Take the half off, and do the same with the next one: the same mark, the "
        "same boot length.",
        # the rails' scales
        "readings.heading": "Left and right readings",
        "readings.how": "The scale on each rail shows half the ski's width at the body's side "
        "edge, in mm. Left and right must agree at each station. If they differ by one line, the "
        "holes lie off sideways by so many mm:",
        "readings.line": "{station} station: {shifts}",
        "readings.shift": "{holes} by {length}",
        # the list of holes
        "holes.heading": "Holes: tick each when it is drilled",
        "holes.boot": "Places along the ski are those for a boot of {boot}.",
        "holes.id": "hole",
        "holes.x": "from the mark",
        "holes.y": "from the centre line",
        "holes.drill": "drill",
        "holes.depth": "depth D",
        "holes.tip": "stop B",
        "holes.left": "left ski",
        "holes.right": "right ski",
        "towards.tip": "{length} to tip",
        "towards.tail": "{length} to tail",
        "towards.left": "{length} left",
        "towards.right": "{length} right",
        "towards.none": "0",
        # the gauge's own sheet
        "gauge.title": "Gauge: measure the printer",
        "gauge.kind": "Gauge sheet",
        "gauge.about": "gauge {x} x {y} mm",
        "gauge.name": "What does your printer do?",
        "gauge.why": "Printed parts come out a little too large or too small, and no two printers "
        "alike. Print the gauge, measure it with a caliper, and jigs can be made to come out true.",
        "gauge.verification": "Gauge verified from its files: {checks} checks; each hole and peg "
        "is within {deviation} mm of its place.",
        "gauge.printer": "Printer, nozzle",
        "gauge.material": "Material, layers",
        "gauge.by": "Date, measured by",
        "gauge.print.heading": "Print",
        "gauge.print.lie": "Print the three parts as they lie, without supports. Never turn or "
        "mirror them in the slicing program: the arrows X and Y on the frame must point along the "
        "printer's own x and y.",
        "gauge.print.plain": "No scaling. Switch off whatever the slicing program does against "
        "shrinkage, for holes or for the first layer.",
        "gauge.print.same": "Use the material, nozzle, layers and speed that the jigs will have. "
        "What is found holds for these alone.",
        "gauge.print.cool": "Let it cool on the bed, then lie at room temperature for an hour. "
        "Take off strings and blobs. Never file or sand it.",
        "gauge.where.heading": "Where the readings are taken",
        "gauge.where.pegs": "1 to 6: over both pegs",
        "gauge.where.holes": "7 to 12: far rim to far rim",
        "gauge.where.heights": "21 to 25: heights",
        "gauge.table": "table",
        "gauge.how.heading": "Measure",
        "gauge.how.zero": "Wipe the jaws, close them, and set the caliper to zero. Lay the frame "
        "on a flat table.",
        "gauge.how.pegs": "Pegs, 1 to 6: outside jaws over both pegs, upright and pushed down onto "
        "the table, closed with little force. Swing the caliper a little: the largest reading is "
        "right.",
        "gauge.how.holes": "Holes, 7 to 12: one inside jaw in each hole, spread until both touch "
        "the far rims. Swing it a little: the largest reading is right.",
        "gauge.how.diameters": "Diameters, 13 to 20: pegs above the frame, the smallest reading is "
        "right; holes with the inside jaws, the largest. Once along x, once along y: the mean is "
        "the reading.",
        "gauge.how.heights": "Heights, 21 to 25: one jaw flat on the underside, the other on top: "
        "the frame on a rib, then each peg.",
        "gauge.how.twice": "Take each reading twice, and write down both of 1 to 20. If the two "
        "differ by more than 0.05 mm, clean the place and start that reading again.",
        "gauge.readings.heading": "Readings, mm",
        "gauge.readings.about": "about",
        "gauge.readings.number": "no.",
        "gauge.readings.what": "what",
        "gauge.readings.read": "read, and again",
        "gauge.readings.distance": "{one} to {other}",
        "gauge.readings.peg": "peg {name}, across",
        "gauge.readings.hole": "hole {name}, across",
        "gauge.readings.frame": "frame, height",
        "gauge.readings.top": "peg {name}, height",
        "gauge.readings.slip": 'A reading more than 1 mm off its "about" is a slip: look again.',
        "gauge.fits.heading": "Fits",
        "gauge.fits.bush": "Press the {outside} mm bush into the pockets, smallest first, by hand "
        "or gently in a vice. Best is the pocket that it goes into square with firm pressure, and "
        "neither turns in nor falls out of. Push it out again from the other side.",
        "gauge.fits.slide": "Push the small toothed bar through the slots, lying as it was "
        "printed: it goes in one way round. Best is the narrowest slot that it runs through "
        "freely, pushed with one finger. Do not grease it.",
        "gauge.fits.pocket": "Best pocket (bush_fit)",
        "gauge.fits.slot": "Best slot (slide)",
        "gauge.then.heading": "Then",
        "gauge.then.file": "Write the readings into measurements.toml in the gauge's folder, each "
        "in place of the two quotation marks: value = 106.12. Leave a row as it is where you did "
        "not measure.",
        "gauge.then.fit": "Type: jiggen profile fit measurements.toml --name my-printer. It names "
        "a reading that does not agree with the others: take that one again.",
        "gauge.then.build": "Build jigs with --printer my-printer, and check the first one.",
        "gauge.then.again": "Print a new gauge when the material, the nozzle or the printer's "
        "belts change.",
        # the 1:1 pages
        "tile.heading": "Holes at 1:1, page {tile} of {tiles}",
        "tile.only": "Holes at 1:1",
        "tile.job": "{pattern}, boot {boot}, {skis}",
        "tile.use": "Lay it over the finished jig, and over the plate. It is for checking: drill "
        "through the jig, never through paper.",
        "tile.left-out": "Names that found no room here are in the list of holes.",
        "tile.edge": "ski {width} wide",
        "tile.join": "To join: cut one page along the seam and lay it on the other so that crosses "
        "of the same letter meet; tape.",
        "tile.seam": "seam",
        "tile.bar": "100 mm{inches}",
        "tile.check": "Check with a ruler: both bars, along and across, must be 100 mm{inches} "
        "long. If not, print again at 100 %, not fitted to the page.",
        "tile.cross": "{letter} to page {tile}",
        "tile.name": "{row}{column}",
    }
)


def say(key: str, **values: object) -> str:
    """The words of `key` with `values` filled in.  Raises KeyError for an unknown key."""
    return WORDS[key].format(**values)
