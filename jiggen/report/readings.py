"""What a gauge says of its printer, and what a finished jig's holes say of it, in words."""

from __future__ import annotations

from collections.abc import Sequence

from jiggen.measure.adjustment import COVERED, Array, agreement
from jiggen.measure.printer.gauge_fit import GaugeFit
from jiggen.measure.printer.printed import PrintedFit
from jiggen.measure.printer.profile import Profile, folder, lines, off_by
from jiggen.report.lines import columns, gross_error_record, reading_table, records, wrapped
from jiggen.units import fixed, listed


def profiles_text(stored: Sequence[Profile]) -> str:
    """The stored profiles as lines, and where they are."""
    if not stored:
        return "None yet: print the gauge of jiggen gauge, then jiggen profile fit."
    wide = max(len(one.name) for one in stored)
    rows = [
        f"{one.name:{wide}}  x {one.scale_x:.5f}  y {one.scale_y:.5f}  "
        f"skew {one.skew:+.3f}°  holes {one.hole:+.3f}  {one.material}".rstrip()
        for one in stored
    ]
    place = f"They are kept in {folder()}; jiggen profile show NAME says more."
    return "\n".join([*rows, "", place])


def profile_text(found: Profile) -> str:
    """A profile as lines: what was found, how surely, and what that means."""
    rows = [
        found.name + (f", {found.material}" if found.material else ""),
        f"{'':10}{'found':>11}{'95 of 100':>12}   what it means",
        *("{:10}{:>11}{:>12}   {}".format(*row) for row in lines(found)),
    ]
    if found.bush_fit is not None:
        rows.append(f"Bushes hold best with an allowance of {found.bush_fit:g} mm.")
    if found.slide is not None:
        rows.append(f"Racks run best with {found.slide:g} mm of clearance per side.")
    return "\n".join(rows)


def fit_data(found: GaugeFit) -> dict[str, object]:
    """Everything of a fit for JSON; factors, degrees and mm, null where not determined."""
    fitted, read = found.fit, slice(found.fit.equations.readings)
    labels = [str(reading) for reading in found.measurements.readings]
    sure = found.uncertainties
    return {
        "fitted": {
            key: {"value": value, "uncertainty": sure[key], "within": COVERED * sure[key]}
            if key in found.determined
            else None
            for key, value in found.values.items()
        },
        "readings": records(
            name=labels,
            read=fitted.equations.values[read].tolist(),
            off=fitted.residuals[read].tolist(),
            normalised=fitted.normalised[read].tolist(),
            checked=fitted.redundancy[read].tolist(),
        ),
        "redundancy": fitted.freedom,
        **{key: getattr(fitted, key) for key in ("squares", "likelihood", "spread")},
        "doubt": gross_error_record(labels, found.fit.gross_error),
    }


def gauge_lines(found: GaugeFit) -> list[str]:
    """The readings, what they should be by the fit, and whether they agree; in the file's unit."""
    fitted, read = found.fit, found.measurements
    unit, caliper = read.unit, read.caliper / read.unit.mm
    places = 4 if unit.name == "in" else 2
    table = reading_table(
        "measured",
        [str(reading) for reading in read.readings],
        fitted.equations.values / unit.mm,
        fitted.residuals / unit.mm,
        found.fit.wrong_row,
        places=places,
    )
    within = fitted.disagreement * caliper
    words = agreement(fitted.freedom, within, caliper, unit.name, places)
    return [*table, "", *wrapped(words)]


def printed_data(found: PrintedFit, made: Profile | None) -> dict[str, object]:
    """Everything for JSON; mm, degrees and factors."""
    fit, jig, read = found.fit, found.jig, slice(len(found.readings.readings))
    labels = [str(reading) for reading in found.readings.readings]

    def values(found: tuple[Array, Array]) -> dict[str, list[float]]:
        return {"values": found[0].tolist(), "uncertainties": found[1].tolist()}

    keys = ("along", "across", "skew", "turn")
    shapes = {name: dict(zip(keys, shape, strict=True)) for name, shape in found.shapes.items()}
    parts = {name: values(part) for name, part in found.parts.items()}
    joint = parts.pop("joint", None)
    return {
        "jig": jig.name,
        "limit": found.limit,
        "verdict": found.verdict if made else None,
        "holes": [
            hole._asdict() | {"good": hole.against(found.limit) == "good"}
            for hole in found.expected
        ],
        "whole": shapes.get("whole"),
        **({} if "whole" in shapes else {"halves": shapes}),
        "bodies": parts,
        "joint": joint,
        "lengths": [
            {"name": str(one), "value": one.value, "verdict": spec.verdict(one.value)}
            for one, spec in found.lengths
        ],
        "readings": records(
            name=labels,
            centres=fit.equations.values[read].tolist(),
            off=fit.residuals[read].tolist(),
            normalised=fit.normalised[read].tolist(),
        ),
        "likelihood": fit.likelihood,
        "spread": fit.spread,
        "doubt": gross_error_record(found.labels, found.fit.gross_error),
        "scanned": [one.holes for one in found.sighted],
        "slipped": found.slipped,
        "profile": made and made.model_dump(),
    }


def printed_text(found: PrintedFit, made: Profile | None, then: str = "") -> str:
    """The finished jig as lines: readings, holes, the whole, and what to do.

    `then` says how to print again with other values.
    """
    table = reading_table(
        "centre to centre",
        [" to ".join(reading.between) for reading in found.readings.readings],
        found.fit.equations.values[: len(found.readings.readings)],
        found.fit.residuals[: len(found.readings.readings)],
        found.fit.wrong_row,
    )
    lines = [found.jig.name, ""]
    lines += [*_length_lines(found), ""] if found.lengths else []
    if found.readings.readings:
        lines += table
    elif not found.sighted:
        lines += ["No distance between holes was measured."]
    for one in found.sighted:
        lines += wrapped(f"The scans have, as one: {listed(one.holes)}.")
    lines += wrapped(NO_WIDTHS) if found.sighted else ()
    if made:
        lines += ["", *_hole_lines(found), "", *_whole_lines(found), ""]
        lines += {
            "use": [f"USE IT: every hole is within {found.limit:g} mm, its uncertainty counted."],
            "measure": ["Not known well enough yet: measure more before you use or reprint it."],
            "reprint": [
                "PRINT IT AGAIN with these values of the printer, in place of its old ones:",
                f"  scale x {made.scale_x:.5f}, scale y {made.scale_y:.5f}, skew {made.skew:+.3f}°",
                *([f"  {then}"] if then else []),
            ],
        }[found.verdict]
    return "\n".join(lines)


NO_WIDTHS = (
    "How wide the pockets are stays for the gauge or the bush in hand: their rims are chamfered, "
    "and a scan does not have their bores in its plane."
)
LENGTHS = {
    "use": "use it",
    "scale": "print again, scaled by {:.2f} %",
    "reprint": "print again: too far off to be scaled",
}


def _length_lines(found: PrintedFit) -> list[str]:
    """What was read on the bodies, and what it says by itself, as the sheet does."""
    rows = [(str(one), fixed(spec.nominal), fixed(one.value)) for one, spec in found.lengths]
    notes = [
        "  " + LENGTHS[spec.verdict(one.value)].format(100 * spec.nominal / one.value)
        for one, spec in found.lengths
    ]
    table = columns(("body", "nominal", "read"), rows)
    return [*map("".join, zip(table, ["", *notes], strict=True))]


def _hole_lines(found: PrintedFit) -> list[str]:
    rows = [
        (hole, fixed(dx, sign="+"), fixed(dy, sign="+"), *map(fixed, sizes))
        for hole, _, dx, dy, *sizes in found.expected
    ]
    over = f"> {found.limit:g}"
    words = {"good": "", "perhaps": f"  perhaps {over}", "off": f"  {over}"}
    notes = [words[hole.against(found.limit)] for hole in found.expected]
    head = ("hole", "off x", "off y", "off", "known to", "at worst")
    return [
        *map("".join, zip(columns(head, rows), ["", *notes], strict=True)),
        "x towards the tip, y to the left, in mm; known to: 95 of 100 such measurements.",
        *(["Each hole for the boot for which it is worst."] if found.jig.ways > 1 else []),
    ]


def _whole_lines(found: PrintedFit) -> list[str]:
    lines = []
    for name, shape in found.shapes.items():
        what = "whole jig" if name == "whole" else f"{name.removeprefix('body-')} half"
        along, across = off_by((shape.scale_x - 1.0) * 300.0), off_by((shape.scale_y - 1.0) * 40.0)
        lines.append(f"The {what}: 300 mm along the ski came out {along}, 40 mm across {across}.")
    if joint := found.parts.get("joint"):
        (gap, offset, bend), sure = joint
        near, aside, angle = (fixed(value, sign="+") for value in (gap, offset, bend))
        lines.append(
            f"The joint: gap {near} ± {2 * sure[0]:.2f} mm, sideways {aside} ± "
            f"{2 * sure[1]:.2f} mm, bend {angle} ± {2 * sure[2]:.2f}°."
        )
    return lines
