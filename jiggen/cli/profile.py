"""``jiggen profile``: what a printer does to a part, from its gauge, kept under a name."""

from __future__ import annotations

import json
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from jiggen.cli import options
from jiggen.cli.output import warn
from jiggen.cli.program import app
from jiggen.errors import CheckFailed

if TYPE_CHECKING:
    from jiggen.printer.gauge_fit import GaugeFit
    from jiggen.printer.model import Profile

WIDTH = 78  # characters of a line of words

profile = typer.Typer(
    name="profile",
    help="What your printer does to a part: measured on its gauge, kept under a name.",
    no_args_is_help=True,
)
app.add_typer(profile, rich_help_panel=options.JIGS)

NameArgument = Annotated[
    str,
    typer.Argument(
        metavar="NAME",
        help="A stored printer's name, or the path of a profile.",
        show_default=False,
    ),
]


@profile.command()
def fit(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="MEASUREMENTS.toml",
            help="The file that jiggen gauge wrote, with what the caliper showed.",
            show_default=False,
        ),
    ],
    name: Annotated[
        str,
        typer.Option(
            "--name",
            metavar="NAME",
            help="What to call printer and material together: club-hall-petg. A profile of that "
            "name is replaced.",
            show_default=False,
        ),
    ],
    material: Annotated[
        str,
        typer.Option("--material", metavar="TEXT", help="What it was printed in, in your words."),
    ] = "",
    as_json: options.JsonOption = False,
) -> None:
    """Find a printer's scales, skew and offsets from the caliper readings of its gauge.

    Says how surely each is known, and which reading is most likely wrong.

    Exit code 1, and no profile, when readings contradict one another or do not say enough.
    """
    from jiggen.printer.findings import refusals, warnings
    from jiggen.printer.model import check_name
    from jiggen.printer.profile_of import examine_gauge, profile_of
    from jiggen.printer.read import read_measurements
    from jiggen.printer.store import save_profile

    check_name(name, material)
    found = examine_gauge(read_measurements(file))
    against, doubts = refusals(found), warnings(found)
    made = None if against else profile_of(found, name, material)
    written = made and save_profile(made)
    if as_json:
        data = as_data(found) | {
            "profile": made and made.model_dump(),
            "refused": [finding.as_dict() for finding in against],
            "warnings": [finding.as_dict() for finding in doubts],
            "written": str(written) if written else None,
        }
        typer.echo(json.dumps(data, indent=1, ensure_ascii=False))
        if against:
            raise typer.Exit(CheckFailed.exit_code)
        return
    typer.echo("\n".join(_reading_lines(found)))
    warn(doubts)
    if made is None:
        raise CheckFailed(against)
    typer.echo(f"\n{as_text(made)}\n\nWritten: {written}")
    typer.echo(f"Build with it: --printer {name}")


@profile.command("list")
def list_all(as_json: options.JsonOption = False) -> None:
    """List the printers whose profiles are stored."""
    from jiggen.printer.store import find_profile, folder, profile_names

    stored = [find_profile(name) for name in profile_names()]
    if as_json:
        data = {"profiles": [one.model_dump() for one in stored]}
        typer.echo(json.dumps(data, indent=1, ensure_ascii=False))
        return
    if not stored:
        typer.echo("None yet: print the gauge of jiggen gauge, then jiggen profile fit.")
        return
    wide = max(len(one.name) for one in stored)
    for one in stored:
        typer.echo(
            f"{one.name:{wide}}  x {one.scale_x:.5f}  y {one.scale_y:.5f}  "
            f"skew {one.skew:+.3f}°  holes {one.hole:+.3f}  {one.material}".rstrip()
        )
    typer.echo(f"\nThey are kept in {folder()}; jiggen profile show NAME says more.")


@profile.command()
def show(name: NameArgument, as_json: options.JsonOption = False) -> None:
    """Say what a stored profile means for a part."""
    from jiggen.printer.store import find_profile

    found = find_profile(name)
    if as_json:
        typer.echo(json.dumps(found.model_dump(), indent=1, ensure_ascii=False))
        return
    typer.echo(as_text(found))


def as_text(found: Profile) -> str:
    """A profile as lines: what was found, how surely, and what that means."""
    from jiggen.printer.words import lines

    rows = lines(found)
    head = found.name + (f", {found.material}" if found.material else "")
    tried = [
        f"Bushes hold best with an allowance of {found.bush_fit:g} mm."
        if found.bush_fit is not None
        else "",
        f"Racks run best with {found.slide:g} mm of clearance a side."
        if found.slide is not None
        else "",
    ]
    return "\n".join(
        [
            head,
            f"{'':10}{'found':>11}{'95 of 100':>12}   what it means",
            *(f"{row.what:10}{row.found:>11}{row.within:>12}   {row.means}" for row in rows),
            *(words for words in tried if words),
        ]
    )


def as_data(found: GaugeFit) -> dict[str, Any]:
    """Everything of a fit for ``--json``; factors, degrees and mm, infinite ones null."""
    from jiggen.printer.adjust import COVERED
    from jiggen.printer.gauge_fit import PARAMETERS

    fitted, doubt = found.fit, found.doubt
    labels = [str(reading) for reading in found.measurements.readings]
    return {
        "fitted": {
            key: {
                "value": found.value(key),
                "uncertainty": found.uncertainty(key),
                "within": COVERED * found.uncertainty(key),
            }
            if found.determined(key)
            else None
            for key in PARAMETERS
        },
        "readings": [
            {"name": label, "read": read, "off": off, "normalised": normalised, "checked": check}
            for label, read, off, normalised, check in zip(
                labels,
                fitted.equations.values.tolist(),
                fitted.residuals.tolist(),
                fitted.normalised.tolist(),
                fitted.checks.tolist(),
                strict=True,
            )
        ],
        "redundancy": fitted.freedom,
        "squares": fitted.squares,
        "likelihood": fitted.likelihood,
        "spread": fitted.spread,
        "doubt": doubt
        and {
            "name": labels[doubt.row],
            "off": doubt.off,
            "likely": doubt.likely,
            "rivals": [labels[row] for row in doubt.rivals],
        },
    }


def _reading_lines(found: GaugeFit) -> list[str]:
    """The readings, what they should be by the fit, and whether they agree; in the file's unit."""
    unit = found.measurements.unit
    places = 4 if unit.name == "in" else 2
    doubt, fitted = found.doubt, found.fit
    wrong = doubt.row if doubt and doubt.likely else -1
    labels = [str(reading) for reading in found.measurements.readings]
    width = max(len("measured"), *(len(label) for label in labels))
    rows = zip(labels, fitted.equations.values / unit.mm, fitted.residuals / unit.mm, strict=True)
    caliper = found.measurements.caliper / unit.mm
    if fitted.freedom < 0.5:
        words = "Not one reading more than needed: nothing checks them."
    else:
        agree = (fitted.squares / fitted.freedom) ** 0.5 * caliper
        words = (
            f"{fitted.freedom:.0f} readings more than needed; they agree within "
            f"{agree:.{places}f} {unit.name} ({caliper:.2g} was said)."
        )
    return [
        "measured".ljust(width) + "".join(f"{word:>10}" for word in ("read", "fits", "off")),
        *(
            f"{label.ljust(width)}{read:10.{places}f}{read - off:10.{places}f}"
            f"{round(off, places) + 0.0:+10.{places}f}" + (" <- wrong?" if row == wrong else "")
            for row, (label, read, off) in enumerate(rows)
        ),
        "",
        *textwrap.wrap(words, WIDTH),
    ]
