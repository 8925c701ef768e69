"""The check of a print with the caliper in words: what is measured, its limits, what then."""

from collections.abc import Iterator

from jiggen.accuracy.terms import default_terms
from jiggen.record import JigRecord
from jiggen.record.entries import PrintLength

# mm on 100 mm by which two bodies of one printer may differ along: three standard uncertainties
# from one print to the next, and twice what the caliper is off by (jiggen/tables/terms.toml).
SAME_PRINTER = 0.5
ONE_AXIS = 1.0  # likewise along and across: three standard uncertainties of one axis to the other
SQUARE = default_terms().jig.square.reach  # mm, of a gap at the blade
HEADS = ("body", "outside jaws", "nominal", "use it", "scale, print again")
HOW = (
    "Measure each body as it comes off the bed, cooled down, before anything is fitted: outside "
    "jaws, at half its height, clear of the edge that lay on the bed. Take each length twice. Then "
    "lay a try square into the corner of that end and edge, the stock along the edge."
)
RULES = (
    f"All within “use it”, and two sheets of paper ({SQUARE:g} mm) pass nowhere between the blade "
    "and the end: use the print.",
    "Any outside of that, all within “scale, print again”: print all parts again, scaled in x and "
    "y by the mean of 100 × nominal ÷ reading, in per cent, and check the new print.",
    "Any outside of both; a gap at the blade; along and across of a body that differ by more than "
    f"{ONE_AXIS:g} mm on 100 mm in what they are off; two bodies, along, by more than "
    f"{SAME_PRINTER:g} mm on 100 mm: do not scale. Something else is wrong: find it (jiggen gauge "
    "measures the printer), and print again.",
)


def rules(record: JigRecord) -> Iterator[str]:
    """What to do by what was measured, and which bodies have nothing to measure."""
    yield from RULES if record.print_check else ()
    notched = {one.part for one in record.print_check}
    if bare := ", ".join(p.name for p in record.parts if p.is_body and p.name not in notched):
        yield (
            f"{bare}: no edge has room for a notch. Measure the finished jig over pins, crosswise "
            "too (jiggen printed); until then it is as true as an unmeasured print."
        )


def check_rows(record: JigRecord) -> Iterator[tuple[str, ...]]:
    """A line for each length: body, where the jaws go, nominal, and from and to of both limits."""
    for one in record.print_check:
        both = (one.accept, one.reprint)
        limits = (f"{one.nominal - by:.2f} to {one.nominal + by:.2f}" for by in both)
        yield one.part, jaws(one), f"{one.nominal:.2f}", *limits


def jaws(one: PrintLength) -> str:
    """Where the caliper's jaws go."""
    if one.direction == "along":
        return f"along: {one.end} end to the notch in the {one.side} edge"
    return "across: over both edges, beside the notch"


def check_line(record: JigRecord) -> str:
    """All lengths in one line, body by body."""
    parts: dict[str, list[str]] = {}
    for one in record.print_check:
        words = f"{one.direction} {one.nominal:.2f} ± {one.accept:.2f}"
        parts.setdefault(one.part, []).append(words)
    return "; ".join(f"{part}: {', '.join(lengths)}" for part, lengths in parts.items())
