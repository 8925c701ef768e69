"""What was found of a surveyed plate, in words."""

from collections.abc import Iterator

from jiggen.measure.adjustment import agreement
from jiggen.measure.survey.examination import Examination

KNOWN = (
    "x from the plate's origin towards the tip, y from the centre line to the left, in mm. "
    "95 of 100 such surveys find a hole within that of its true place; ±: standard "
    "uncertainty of x and of y."
)


def verdicts(found: Examination) -> Iterator[str]:
    """What the readings say together, a sentence or two each."""
    fit, wrong, mirror = found.plain, found.plain.gross_error, found.symmetry
    typical = fit.network.typical
    yield agreement(fit.freedom, fit.disagreement * typical, typical)
    if wrong and (wrong.likely or not found.plain.contradicts):
        label = fit.network.labels[wrong.row]
        rest = wrong.without.disagreement * typical
        yield (
            f"Most likely a gross error: {label}, {wrong.off:+.2f} mm off what the others say."
            if wrong.likely
            else f"No reading stands out: the largest misfit is {fit.largest:.1f} of its standard "
            f"uncertainties, and from {fit.critical:.1f} on it would. Were one a gross error, it "
            f"would most likely be {label}; the others agree within {rest:.2f} mm without it."
        )
    if found.scale and not found.scale.differs:
        yield (
            f"The other tool agrees: {100 * found.scale.long:+.2f} % in length, and it would show "
            f"more than {100 * found.scale.most:.2f} %."
        )
    if mirror.verdict in ("symmetric", "different"):
        how = "symmetric as far as measured" if mirror.verdict == "symmetric" else "NOT symmetric"
        yield (
            f"Left and right are {how}: {'/'.join(mirror.worst)} off by {mirror.off:.2f} mm, "
            f"and up to {mirror.within:.2f} can be chance."
        )
