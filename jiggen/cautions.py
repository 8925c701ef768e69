"""The usual cautions, in one place: every sheet, drawing, report and README says the same."""

CAUTIONS = (
    "The jig places holes, and nothing else: whether the ski, the binding and the boot belong "
    "together is for the person who mounts them to decide.",
    "Follow the mounting instructions of the makers of ski, binding and boot; where they differ "
    "from these numbers, theirs hold.",
    # ISO 11088: scope as stated by the standard's own title and scope page.
    "Assemble, adjust and inspect by the standards in force (ISO 11088).",
    "Have a trained technician set the release and test it before anyone skis.",
    "Wear eye protection, and clamp ski and jig before you drill.",
)
"""Plain sentences, in the order they are read."""
