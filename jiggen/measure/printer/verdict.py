"""A finished jig that was measured: what is against it, and how to print it again."""

from __future__ import annotations

from dataclasses import astuple

import numpy as np

from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.measure import adjustment
from jiggen.measure.printer.gauge_fit import PARAMETERS, beyond, contradiction
from jiggen.measure.printer.printed import PrintedFit
from jiggen.measure.printer.profile import Compensation, Fits, Profile, find_profile
from jiggen.measure.printer.read import BUSH_FITS, SLIDES
from jiggen.units import counted


def refusals_of_print(found: PrintedFit) -> tuple[Finding, ...]:
    """What stands against it: ``printer.gross-error``, ``.disagree``, ``.off``, ``.unsure``."""
    source, limit = found.readings.source, found.limit
    if found.fit.contradicts:
        return (contradiction(found.fit, found.readings, labels=found.labels),)
    verdicts = [one.against(limit) for one in found.expected]
    off = [one for one, how in zip(found.expected, verdicts, strict=True) if how == "off"]
    if off:
        named = adjustment.the_first([f"{one.id} by {one.off:.2f} mm" for one in off], ", ")
        message = f"holes are off by more than {limit:g} mm: {named}"
        if rest := verdicts.count("perhaps"):
            message += f"; {counted(rest, 'other')} may be, as surely as they are known"
        hint = "Do not drill with it: print it again with the corrected profile."
        return (Finding("printer.off", message, source, hint=hint),)
    worst = [(one.id, one.at_worst) for one in found.expected if one.at_worst > limit]
    if not worst:
        return ()
    named = adjustment.the_first([f"{hole} by {size:.2f} mm" for hole, size in worst], ", ")
    hint = f"Measure {' to '.join(found.next_pair)} as well, then look again."
    if found.loose:
        hint = "Join its halves and scan them as one, then look again."
    message = f"holes may be off by more than {limit:g} mm: {named}"
    return (Finding("printer.unsure", message, source, hint=hint),)


def notes_of_print(found: PrintedFit) -> tuple[Finding, ...]:
    """What scans leave open: ``printer.slipped``, ``printer.not-scanned``."""
    findings, source = list[Finding](), found.readings.source
    if found.slipped:
        own = found.fit.parameters[found.jig.size :].reshape(-1, 2)
        sizes = dict(zip(found.jig.holes, np.hypot(*own.T).tolist(), strict=True))
        words = [f"{hole} by {sizes[hole]:.2f} mm" for hole in found.slipped]
        message = (
            f"holes lie off from where the others have them: {adjustment.the_first(words, ', ')}"
        )
        hint = (
            "Look at them in the picture: dust, a burr or another rim may be what was found. "
            "Else the printer slipped there."
        )
        findings.append(Finding("printer.slipped", message, source, hint=hint))
    seen = {hole for one in found.sighted for hole in one.holes}
    if seen and (missing := [hole for hole in found.jig.holes if hole not in seen]):
        message = f"no scan has these holes: {adjustment.the_first(missing, ', ')}"
        hint = "Scan their body as well, or measure them."
        findings.append(Finding("printer.not-scanned", message, source, hint=hint))
    return tuple(findings)


def profile_then(sent: Compensation | None, fits: Fits) -> Profile:
    """The profile that a jig was printed with: the stored one where that is still the same.

    Otherwise what follows from what was done to the jig's meshes, `sent`, and from the `fits`
    that it was designed with.  A jig printed as designed has the profile of a true print.
    """
    if sent is None:
        return Profile(name="as-designed")
    try:
        stored = find_profile(sent.printer)
        now = stored.compensation
        same = stored.fits(fits.bush_fit + stored.hole, fits.slide - stored.wall)
        then, would = (
            [*mesh.matrix.flat, mesh.height, *astuple(holes)]
            for mesh, holes in ((sent, fits), (now, same))
        )
        if np.allclose(then, would, rtol=0, atol=1e-6):
            return stored
    except InputError:  # deleted, or damaged since: the record still holds what matters
        pass
    return Profile(
        name="as-printed",
        scale_z=1.0 / sent.height,
        hole=-fits.hole_fit,
        bush_fit=float(np.clip(fits.bush_fit, *BUSH_FITS)),
        slide=float(np.clip(fits.slide, *SLIDES)),
    )


def corrected(found: PrintedFit, before: Profile, name: str) -> Profile:
    """`before` with the scales and the skew that the finished jig shows, under `name`.

    Raises CheckFailed ``printer.beyond`` where they are more than what is compensated.
    """
    plane, sure = (
        dict(zip(PARAMETERS[:3], np.round(each, 6).tolist(), strict=True)) for each in found.printer
    )
    if against := tuple(beyond(plane, found.readings.source)):
        raise CheckFailed(against)
    uncertainty = before.uncertainty.model_copy(update=sure)
    return before.model_copy(update={**plane, "name": name, "uncertainty": uncertainty})
