"""``jiggen profile``: what a printer does to a part, from its gauge, kept under a name."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from jiggen.cli import options, output
from jiggen.cli.program import JIGS, Group, app, command
from jiggen.options import Option, argument

if TYPE_CHECKING:
    from jiggen.measure.printer.gauge_fit import GaugeFit
    from jiggen.measure.printer.profile import Profile

profile = typer.Typer(
    name="profile",
    cls=Group,
    help="What your printer does to a part: measured on its gauge, kept under a name.",
    no_args_is_help=True,
)
app.add_typer(profile, rich_help_panel=JIGS)

STORED = argument("name", "text", "A stored printer's name, or a profile's path.")
FILE = argument(
    "file", "path", "The file that jiggen gauge wrote, filled in.", metavar="MEASUREMENTS.toml"
)
NAME = Option(
    "name",
    "text",
    "What to call printer and material together: club-hall-petg. It replaces one of that name.",
    group="Options",
    required=True,
)
MATERIAL = Option(
    "material", "text", "What it was printed in.", group="Options", default="", metavar="TEXT"
)


@command(None, group=profile)
def fit(
    file: Annotated[Path, FILE],
    name: Annotated[str, NAME],
    material: Annotated[str, MATERIAL],
    as_json: options.JsonOption,
) -> None:
    """Find a printer's scales, skew and offsets from the caliper readings of its gauge.

    Says how surely each is known, and which reading is most likely wrong.

    Exit code 1, and no profile, when readings contradict one another or do not say enough.
    """
    from jiggen.measure.printer.gauge_fit import fit_gauge, profile_of, refusals, warnings
    from jiggen.measure.printer.profile import check_name, save_profile
    from jiggen.measure.printer.read import read_measurements

    check_name(name, material)
    found = fit_gauge(read_measurements(file))
    against, cautions = refusals(found), warnings(found)
    made = None if against else profile_of(found, name, material)
    written = save_profile(made) if made else None
    lines = _reading_lines(found)
    if made:
        lines += ["", as_text(made), "", f"Written: {written}", f"Build with it: --printer {name}"]
    output.write_judged(
        as_json,
        lambda: as_data(found) | {"profile": made and made.model_dump()},
        lambda: "\n".join(lines),
        against,
        warnings=cautions,
        written=written,
    )


@command(None, "list", profile)
def list_all(as_json: options.JsonOption) -> None:
    """List the printers whose profiles are stored."""
    from jiggen.measure.printer.profile import find_profile, folder, profile_names

    stored = [find_profile(name) for name in profile_names()]
    wide = max((len(one.name) for one in stored), default=0)
    lines = [
        f"{one.name:{wide}}  x {one.scale_x:.5f}  y {one.scale_y:.5f}  "
        f"skew {one.skew:+.3f}°  holes {one.hole:+.3f}  {one.material}".rstrip()
        for one in stored
    ]
    lines += ["", f"They are kept in {folder()}; jiggen profile show NAME says more."]
    if not stored:
        lines = ["None yet: print the gauge of jiggen gauge, then jiggen profile fit."]
    output.write(
        as_json,
        lambda: {"profiles": [one.model_dump() for one in stored]},
        lambda: "\n".join(lines),
    )


@command(None, group=profile)
def show(name: Annotated[str, STORED], as_json: options.JsonOption) -> None:
    """Say what a stored profile means for a part."""
    from jiggen.measure.printer.profile import find_profile

    found = find_profile(name)
    output.write(as_json, found.model_dump, lambda: as_text(found))


def as_text(found: Profile) -> str:
    """A profile as lines: what was found, how surely, and what that means."""
    from jiggen.measure.printer.profile import lines

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


def as_data(found: GaugeFit) -> dict[str, object]:
    """Everything of a fit for ``--json``; factors, degrees and mm, null where not determined."""
    from jiggen.measure.adjustment import COVERED

    fitted = found.fit
    labels = [str(reading) for reading in found.measurements.readings]
    sure = found.uncertainties
    return {
        "fitted": {
            key: {"value": value, "uncertainty": sure[key], "within": COVERED * sure[key]}
            if key in found.determined
            else None
            for key, value in found.values.items()
        },
        "readings": output.records(
            name=labels,
            read=fitted.equations.values.tolist(),
            off=fitted.residuals.tolist(),
            normalised=fitted.normalised.tolist(),
            checked=fitted.redundancy.tolist(),
        ),
        "redundancy": fitted.freedom,
        **{key: getattr(fitted, key) for key in ("squares", "likelihood", "spread")},
        "doubt": output.gross_error_record(labels, found.fit.gross_error),
    }


def _reading_lines(found: GaugeFit) -> list[str]:
    """The readings, what they should be by the fit, and whether they agree; in the file's unit."""
    fitted, read = found.fit, found.measurements
    unit, caliper = read.unit, read.caliper / read.unit.mm
    places = 4 if unit.name == "in" else 2
    table = output.reading_table(
        "measured",
        [str(reading) for reading in read.readings],
        fitted.equations.values / unit.mm,
        fitted.residuals / unit.mm,
        found.fit.wrong_row,
        places=places,
    )
    within = fitted.disagreement * caliper
    words = output.agreement(fitted.freedom, within, caliper, unit.name, places)
    return [*table, "", *output.wrapped(words)]
