"""A printer's profile at work: in the fits of a design, and in the meshes that the printer gets.

Diameters and clearances are set before the jig is designed (`fit_settings`), so that every file
has them and the verification measures them.  What is left, stretch and skew, is linear and the
same for every part, and is done to the meshes of STL and 3MF alone (`compensated`): STEP,
drawings and record stay as designed.
"""

import math
from dataclasses import replace

import numpy as np

from jiggen.design.jig import Design
from jiggen.design.pieces import list_pieces
from jiggen.design.settings import LEAST_WALL, Settings
from jiggen.design.station import design_mechanism
from jiggen.errors import Finding, InputError
from jiggen.export.meshes import PartMesh
from jiggen.measure.printer.profile import LARGEST_GROWTH, LARGEST_STRETCH, Compensation, Profile
from jiggen.record.entries import Compensated

HINT = "Measure the printer's gauge again, and repair or calibrate the printer first."


def fit_settings(settings: Settings, profile: Profile | None) -> Settings:
    """`settings` with the fits that come out on the printer of `profile` as they are there.

    Walls between cut-outs may be thinner in the file by what holes come out small, and the gear
    gets the backlash that teeth lose whose flanks grow as the walls of a sliding pair do.  Raises
    InputError for settings that are out of bounds themselves, and ``export.compensation``, all
    faults at once, for those that only the printer puts there.
    """
    if profile is None:
        return settings
    settings.check()
    fits = profile.fits(settings.bush_fit, settings.slide)
    wider = max(fits.hole_fit, fits.bush_fit - settings.bush_fit, 0.0)
    alpha = math.radians(design_mechanism(settings).pinion.gear.profile.pressure_angle)
    # A rack's tooth and a space both change by what two flanks do.
    backlash = settings.backlash + 2 * (fits.slide - settings.slide) / math.cos(alpha)
    fitted = replace(
        settings,
        bush_fit=round(fits.bush_fit, 4),
        hole_fit=round(settings.hole_fit + fits.hole_fit, 4),
        slide=round(fits.slide, 4),
        backlash=round(backlash, 4),
        wall=max(LEAST_WALL, round(settings.wall - wider, 4)),
    )
    try:
        fitted.check()
    except InputError as error:
        raise InputError(
            _refused(f"for printer {profile.name} {found.message}", found.hint)
            for found in error.findings
        ) from None
    return fitted


def refuse_compensation(compensation: Compensation) -> None:
    """Raise InputError ``export.compensation`` for more than a sound printer needs."""
    change = np.append(compensation.matrix - np.eye(2), compensation.height - 1)
    sizes = change[[0, 3, 4]]  # the others are skew
    for what, worst, most in (
        ("change", float(np.abs(change).max()), LARGEST_STRETCH),
        ("shorten", -float(sizes.min()), LARGEST_GROWTH),
    ):
        if not worst <= most:  # so that NaN fails too
            text = f"would {what} a part by {100 * worst:.2f} % of its size"
            raise InputError(_refused(f"{text}, {100 * most:g} % is the most"))


def refuse_for_design(design: Design, printer: Profile | None) -> Compensation | None:
    """What is done to the meshes of `design` for `printer`; None without one.

    Raises InputError ``export.compensation`` for too much of it, and for bodies that no longer
    fit the bed.
    """
    if printer is None:
        return None
    compensation = printer.compensation
    refuse_compensation(compensation)
    bed, findings = design.settings.bed, []
    outlines = {body.name: body.corners for body in design.bodies}
    for piece in (piece for piece in list_pieces(design) if piece.name in outlines):
        flat = outlines[piece.name] @ (compensation.matrix @ piece.to_bed[:2, :2]).T
        x, y = np.ptp(flat, axis=0)
        if x > bed.x or y > bed.y:
            size = f"{x:.1f} x {y:.1f} mm on a bed of {bed.x:g} x {bed.y:g} mm"
            hint = "Give a slightly smaller bed, so that the jig is designed smaller."
            findings.append(_refused(f"{piece.name} would be {size}", hint))
    if findings:
        raise InputError(findings)
    return compensation


def _refused(message: str, hint: str = HINT) -> Finding:
    return Finding("export.compensation", message, key="printer", hint=hint)


def compensated(mesh: PartMesh, compensation: Compensation) -> PartMesh:
    """A part's mesh as the printer gets it."""
    vertices = mesh.vertices.copy()
    vertices[:, :2] = vertices[:, :2] @ compensation.matrix.T
    vertices[:, 2] *= compensation.height
    # Single precision, as before: STL and 3MF are then one mesh.
    return replace(mesh, vertices=vertices.astype(np.float32).astype(np.float64) + 0.0)


def compensation_entry(compensation: Compensation | None) -> Compensated | None:
    """What was done to the meshes, for the record."""
    if compensation is None:
        return None
    matrix = compensation.matrix.tolist()
    return Compensated.model_validate(vars(compensation) | {"matrix": matrix})
